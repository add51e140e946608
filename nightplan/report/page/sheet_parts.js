"use strict";
// Times in words and rows of the list, for the sheet's script.
function nightParts(data) {
  var MINUTE = 60000;

  // The site's clock, from offsets in the page: the phone's own zone is not used.
  function clock(ms) {
    var offset = data.offsets[0][1];
    data.offsets.forEach(function (entry) { if (ms >= entry[0]) { offset = entry[1]; } });
    var shifted = new Date(Math.round(ms / MINUTE) * MINUTE + offset * MINUTE);
    var text = shifted.toISOString().slice(11, 16);
    if (!data.told) { return text; }
    var size = Math.abs(offset), two = function (n) { return (n < 10 ? "0" : "") + n; };
    return text + " " + (offset < 0 ? "-" : "+") + two(Math.floor(size / 60)) + ":" + two(size % 60);
  }

  function span(ms) {
    var minutes = Math.max(0, Math.round(ms / MINUTE));
    var hours = Math.floor(minutes / 60);
    return hours ? hours + " h " + (minutes % 60) + " min" : minutes + " min";
  }

  function iso(ms) { return new Date(Math.round(ms / 1000) * 1000).toISOString().slice(0, 19) + "Z"; }

  function newRow(item) {
    var row = document.createElement("li"), inner = function (parent, name, text) {
      var part = document.createElement("span");
      part.className = name;
      part.textContent = text;
      parent.appendChild(part);
      return part;
    };
    row.className = "row " + (item.kind === "block" ? "block" : "between " + item.kind);
    row.id = item.id;
    var when = inner(row, "when", "");
    inner(when, "", clock(item.start));
    inner(when, "end", clock(item.end));
    var middle = inner(row, "mid", "");
    inner(middle, "what", item.words);
    if (item.subs) { inner(middle, "subs", item.subs); inner(middle, "gain", item.shot.gain); }
    if (item.kind === "idle") { return row; }
    var label = document.createElement("label"), tick = document.createElement("input");
    label.className = "tick";
    tick.type = "checkbox";
    tick.id = "t-" + item.id;
    tick.setAttribute("aria-label", item.words + " from " + clock(item.start) + " done");
    label.appendChild(tick);
    row.appendChild(label);
    return row;
  }

  return {clock: clock, span: span, iso: iso, row: newRow};
}
