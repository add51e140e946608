"use strict";
(function () {
  var data = JSON.parse(document.getElementById("night-data").textContent);
  var box = document.getElementById("now");
  var what = document.getElementById("now-what");
  var then = document.getElementById("now-then");
  var line = document.getElementById("now-line");
  var minute = 60000;

  // Rehearse a moment of the night: add #at=2027-10-06T22:00Z to the address.
  function now() {
    var asked = /[#&]at=([^&]+)/.exec(location.hash);
    var wanted = asked ? Date.parse(decodeURIComponent(asked[1])) : NaN;
    return isNaN(wanted) ? Date.now() : wanted;
  }

  // The site's clock, from offsets in the page: the phone's own zone is not used.
  function clock(ms) {
    var offset = data.offsets[0][1];
    data.offsets.forEach(function (entry) { if (ms >= entry[0]) { offset = entry[1]; } });
    var shifted = new Date(Math.round(ms / minute) * minute + offset * minute);
    return shifted.toISOString().slice(11, 16);
  }

  function span(ms) {
    var minutes = Math.max(0, Math.round(ms / minute));
    var hours = Math.floor(minutes / 60);
    return hours ? hours + " h " + (minutes % 60) + " min" : minutes + " min";
  }

  function say(node, text) { if (node.textContent !== text) { node.textContent = text; } }

  function update() {
    var t = now();
    var items = data.items;
    var current = null, next = null;
    items.forEach(function (item) {
      if (item.start <= t && t < item.end) { current = item; }
      if (item.start > t && !next) { next = item; }
    });
    document.querySelectorAll("[aria-current]").forEach(function (row) {
      row.removeAttribute("aria-current");
    });
    box.hidden = t < data.from || t > data.to;
    line.hidden = t < data.strip[0] || t > data.strip[1];
    line.style.left = 100 * (t - data.strip[0]) / (data.strip[1] - data.strip[0]) + "%";
    if (box.hidden) { return; }
    if (current) {
      var row = document.getElementById(current.id);
      if (row) { row.setAttribute("aria-current", "time"); }
      say(what, current.words + ", until " + clock(current.end));
    } else {
      say(what, next ? "Nothing to do yet" : "The plan is over");
    }
    var text = "Now " + clock(t) + ".";
    if (current) { text += " " + span(current.end - t) + " left."; }
    if (next) { text += " Next: " + next.words + " at " + clock(next.start) + ", in " + span(next.start - t) + "."; }
    say(then, text);
  }

  // What was ticked off outlives a reload where the browser allows a page to keep things.
  document.querySelectorAll("input[type=checkbox]").forEach(function (tick) {
    var key = data.key + tick.id;
    try { tick.checked = localStorage.getItem(key) === "1"; } catch (error) { return; }
    tick.addEventListener("change", function () {
      try { localStorage.setItem(key, tick.checked ? "1" : "0"); } catch (error) { return; }
    });
  });

  update();
  addEventListener("hashchange", update);
  setInterval(update, 5000);
})();
