"use strict";
(function () {
  var data = JSON.parse(document.getElementById("night-data").textContent);
  var MINUTE = 60000, FAR_BEHIND = 15 * MINUTE, STEP = 10 * MINUTE;
  // late: by what the last tick came later than planned; extra: added by hand, held: from where on.
  var state = {ticks: {}, late: 0, extra: 0, held: "", loss: -1, past: []};
  var fewer = 0, shownRow = "";

  function el(id) { return document.getElementById(id); }
  function say(node, text) { if (node.textContent !== text) { node.textContent = text; } }

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

  // What was done outlives a reload where the browser allows a page to keep things.
  function load() {
    try {
      var kept = JSON.parse(localStorage.getItem(data.key));
      if (kept && typeof kept.ticks === "object") {
        for (var key in state) { if (key in kept) { state[key] = kept[key]; } }
      }
    } catch (error) { return; }
    if (!(state.loss < data.losses.length)) { state.loss = -1; }
  }

  function keep() {
    try { localStorage.setItem(data.key, JSON.stringify(state)); } catch (error) { return; }
  }

  function act(change) {
    var before = {};
    for (var key in state) { if (key !== "past") { before[key] = state[key]; } }
    state.past.push(JSON.stringify(before));
    state.past = state.past.slice(-30);
    change();
    fewer = 0;
    keep();
    update();
  }

  function undo() {
    if (!state.past.length) { return; }
    var past = state.past, before = JSON.parse(past.pop());
    state = before;
    state.past = past;
    fewer = 0;
    keep();
    update();
  }

  // The plan in force before lateness: the night's, or with the rest that answers a loss.
  function chosen() {
    if (state.loss < 0) { return data.items; }
    var answer = data.losses[state.loss];
    var list = data.items.filter(function (item) {
      return item.start < answer.at && item.id[0] !== "e";
    }).concat(answer.items);
    var ended = list.reduce(function (most, item) {
      return item.kind === "block" ? Math.max(most, item.end) : most;
    }, 0);
    data.items.forEach(function (item) {
      if (item.id[0] !== "e") { return; }
      var later = Math.max(0, ended - item.start);
      list.push(Object.assign({}, item, {start: item.start + later, end: item.end + later}));
    });
    return list;
  }

  // Later times move with what is late; idle time and gaps take lateness up.
  function inForce() {
    var list = chosen(), last = -1, carry = 0, ended = -Infinity;
    list.forEach(function (item, i) { if (state.ticks[item.id]) { last = i; } });
    var moved = list.map(function (item, i) {
      if (i <= last) { ended = Math.max(ended, item.end); return item; }
      if (i === last + 1 && last >= 0) { carry = state.late; }
      if (ended > -Infinity) { carry = Math.max(0, carry - Math.max(0, item.start - ended)); }
      var start = item.start + carry;
      if (item.id === state.held) { carry += state.extra; }
      if (item.kind !== "idle") { ended = Math.max(ended, item.end); }
      return Object.assign({}, item, {start: start, end: item.end + carry, late: carry});
    });
    return {items: moved, last: last};
  }

  // Driven by ticks; by the clock where none are.
  function position(force, t) {
    var items = force.items, at = -1, i;
    if (force.last >= 0) {
      for (i = force.last + 1; i < items.length && at < 0; i += 1) {
        if (items[i].kind !== "idle") { at = i; }
      }
      return at;
    }
    for (i = 0; i < items.length; i += 1) {
      if (items[i].kind !== "idle" && items[i].start <= t && t < items[i].end) { at = i; }
    }
    return at;
  }

  function following(items, from, t, wanted) {
    for (var i = from; i < items.length; i += 1) {
      if (wanted(items[i]) && (from > 0 || items[i].start > t)) { return items[i]; }
    }
    return null;
  }

  function left(item, t) {
    var each = (item.end - item.start) / item.shot.count;
    var over = Math.min(item.shot.count, Math.max(0, Math.floor((t - item.start) / each)));
    return item.shot.count - over;
  }

  function how(item, t) {
    var text = item.shot ? item.subs + ", until " + clock(item.end) : "Until " + clock(item.end);
    if (item.start > t) { return "From " + clock(item.start) + ", in " + span(item.start - t) + ". " + text; }
    if (t > item.end) { return text + ", " + span(t - item.end) + " ago"; }
    if (item.shot) { return text + ": " + left(item, t) + " left, " + span(item.end - t); }
    return text + ", " + span(item.end - t) + " left";
  }

  function turnText(item, t) {
    if (!item) { return ""; }
    var words = item.kind === "flip" ? "Meridian flip" : item.words;
    return words + " at " + clock(item.start) + (item.start > t ? ", in " + span(item.start - t) : ": now");
  }

  function update() {
    var t = now(), force = inForce(), items = force.items;
    var box = el("now"), line = el("now-line");
    box.hidden = t < data.from || t > data.to || !items.length;
    el("bar").hidden = box.hidden || !el("bar").dataset.away;
    line.hidden = t < data.strip[0] || t > data.strip[1];
    line.style.left = 100 * (t - data.strip[0]) / (data.strip[1] - data.strip[0]) + "%";
    rows(items);
    if (box.hidden) { mark(null); return; }
    var at = position(force, t), current = at < 0 ? null : items[at];
    var live = function (item) { return item.kind !== "idle"; };
    var next = at < 0 && force.last >= 0 ? null : following(items, at + 1, t, live);
    var loud = following(items, current ? at : (next ? items.indexOf(next) : items.length), t,
      function (item) { return item.kind === "flip" || item.kind === "turn"; });
    mark(current);
    say(el("now-clock"), clock(t));
    say(el("now-by"), (force.last < 0 ? "by the clock" : "by your ticks")
      + (current && current.late ? ", " + span(current.late) + " late" : ""));
    say(el("now-what"), current ? current.words : next ? waiting(t) : "Over");
    say(el("now-how"), current ? how(current, t) : next ? "" : "All is done. Sleep before you drive.");
    say(el("now-next"), next ? "Next: " + next.words + " at " + clock(next.start)
      + (next.start > t ? ", in " + span(next.start - t) : "") : "");
    say(el("now-turn"), turnText(loud, t));
    el("now-turn").hidden = !loud;
    buttons(current, force, t);
    say(el("bar"), current ? current.words + ", until " + clock(current.end) : el("now-what").textContent);
  }

  function waiting(t) {
    var answer = state.loss < 0 ? null : data.losses[state.loss];
    var until = answer ? answer.at + answer.minutes * MINUTE : 0;
    return t < until ? "Clouds until " + clock(until) : "Nothing to do yet";
  }

  function buttons(current, force, t) {
    var done = el("done"), block = current && current.shot;
    done.hidden = !current;
    el("later").hidden = !current;
    el("fewer").hidden = el("more").hidden = !block;
    el("undo").hidden = !state.past.length;
    el("catch-up").hidden = !(force.last >= 0 && current && t > current.end + FAR_BEHIND);
    el("clouds").hidden = !data.losses.length || state.loss >= 0 || !current;
    if (el("clouds").hidden) { el("losses").hidden = true; }
    say(done, block && fewer ? "Done: " + (current.shot.count - fewer) + " of " + current.shot.count : "Done");
    say(el("now-note"), state.loss >= 0 ? answerText(data.losses[state.loss]) : "");
  }

  function answerText(answer) {
    return "Planned anew: nothing shot from " + clock(answer.at) + " to "
      + clock(answer.at + answer.minutes * MINUTE) + ".";
  }

  function mark(current) {
    document.querySelectorAll("[aria-current]").forEach(function (row) {
      row.removeAttribute("aria-current");
    });
    var row = current && el(current.id);
    if (!row) { return; }
    row.setAttribute("aria-current", "step");
    // The row in force comes into view, but the page is not torn away from its top.
    if (shownRow && shownRow !== current.id && el("bar").dataset.away) {
      row.scrollIntoView({block: "center"});
    }
    shownRow = current.id;
  }

  function rows(items) {
    var answer = state.loss < 0 ? null : data.losses[state.loss], force = {};
    items.forEach(function (item) { force[item.id] = item; });
    el("again").hidden = !answer;
    if (answer && el("again").dataset.loss !== String(state.loss)) {
      el("again").dataset.loss = String(state.loss);
      say(el("again-h"), answerText(answer));
      el("again-rows").replaceChildren.apply(el("again-rows"), answer.items.map(newRow));
    }
    data.items.concat(answer ? answer.items : []).forEach(function (plain) {
      var row = el(plain.id), item = force[plain.id];
      if (!row) { return; }
      row.hidden = !item;
      if (!item) { return; }
      var cells = row.querySelector(".when").children;
      if (item.late || row.dataset.moved) {
        row.dataset.moved = item.late ? "1" : "";
        say(cells[0], clock(item.start));
        say(cells[1], clock(item.end));
      }
      row.classList.toggle("beyond", item.kind === "block" && item.end > data.strip[1] + MINUTE);
      var tick = el("t-" + plain.id);
      if (tick) { tick.checked = Boolean(state.ticks[plain.id]); }
    });
    document.querySelectorAll(".group").forEach(function (group) {
      group.hidden = !group.querySelector(".row:not([hidden])");
    });
    document.querySelectorAll("#calibration input").forEach(function (tick) {
      tick.checked = Boolean(state.ticks[tick.id.slice(2)]);
    });
    leave();
  }

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

  function ticked(item, t, count) {
    var entry = {t: t};
    if (item && item.shot) {
      entry.n = count;
      entry.start = Math.min(item.start, t - (item.end - item.start));
      if (t > item.end) { entry.start = item.start; }
    }
    return entry;
  }

  function tickOff(item, t, count) {
    act(function () {
      state.ticks = Object.assign({}, state.ticks);
      state.ticks[item.id] = ticked(item, t, count);
      var raw = chosen().find(function (one) { return one.id === item.id; });
      state.late = raw ? Math.max(0, t - raw.end) : state.late;
      state.extra = 0;
      state.held = "";
    });
  }

  function currentItem() {
    var force = inForce(), at = position(force, now());
    return at < 0 ? null : force.items[at];
  }

  // What was done, as a small file for the journal.
  function leave() {
    var known = data.items.slice();
    data.losses.forEach(function (answer) { known = known.concat(answer.items); });
    var shot = known.filter(function (item) { return item.shot && state.ticks[item.id]; })
      .map(function (item) {
        var tick = state.ticks[item.id];
        var first = typeof tick.start === "number" ? tick.start : item.start;
        var each = (item.end - item.start) / item.shot.count, count = tick.n;
        return Object.assign({}, item.shot, {
          count: count, start_utc: iso(first), end_utc: iso(first + count * each), ticked_utc: iso(tick.t)
        });
      }).filter(function (row) { return row.count > 0; });
    var page = {document: "ticks", site: data.site, rig: data.rig, date: data.date, shot: shot};
    el("leave").hidden = !shot.length;
    el("ticks-file").download = "ticks-" + data.date + ".json";
    el("ticks-file").href = "data:application/json;charset=utf-8," + encodeURIComponent(JSON.stringify(page, null, 1));
  }

  function iso(ms) { return new Date(Math.round(ms / 1000) * 1000).toISOString().slice(0, 19) + "Z"; }

  function offerLosses() {
    var t = now(), open = el("losses").hidden, done = -Infinity, best = {};
    el("losses").hidden = !open;
    el("clouds").setAttribute("aria-expanded", String(open));
    if (!open) { return; }
    data.items.forEach(function (item) {
      if (item.kind === "block" && state.ticks[item.id]) { done = Math.max(done, item.start); }
    });
    // Of each length the answer that begins nearest to now.
    data.losses.forEach(function (answer, i) {
      var known = best[answer.minutes], off = Math.abs(answer.at - t);
      if (answer.at > done && (!known || off < known.off)) { best[answer.minutes] = {off: off, i: i}; }
    });
    el("losses").replaceChildren.apply(el("losses"), Object.keys(best).map(function (minutes) {
      var button = document.createElement("button");
      button.type = "button";
      button.textContent = minutes + " min";
      button.addEventListener("click", function () {
        act(function () { state.loss = best[minutes].i; state.late = state.extra = 0; state.held = ""; });
        el("again").scrollIntoView({block: "start"});
      });
      return button;
    }));
  }

  el("done").addEventListener("click", function () {
    var item = currentItem();
    if (item) { tickOff(item, now(), item.shot ? item.shot.count - fewer : 0); }
  });
  el("later").addEventListener("click", function () {
    var item = currentItem();
    if (item) {
      act(function () { state.extra = (state.held === item.id ? state.extra : 0) + STEP; state.held = item.id; });
    }
  });
  el("fewer").addEventListener("click", function () {
    var item = currentItem();
    if (item && item.shot) { fewer = Math.min(item.shot.count, fewer + 1); update(); }
  });
  el("more").addEventListener("click", function () { fewer -= 1; update(); });
  el("undo").addEventListener("click", undo);
  el("clouds").addEventListener("click", offerLosses);
  el("catch-up").addEventListener("click", function () {
    var t = now();
    act(function () {
      state.ticks = Object.assign({}, state.ticks);
      inForce().items.forEach(function (item) {
        if (item.kind !== "idle" && item.end <= t && !state.ticks[item.id]) {
          state.ticks[item.id] = ticked(item, t, item.shot && item.shot.count);
        }
      });
      state.late = state.extra = 0;
    });
  });
  el("now-what").addEventListener("click", function () {
    var row = shownRow && el(shownRow);
    if (row) { row.scrollIntoView({block: "center"}); }
  });
  document.addEventListener("change", function (event) {
    var tick = event.target;
    if (tick.type !== "checkbox" || tick.id.slice(0, 2) !== "t-") { return; }
    var id = tick.id.slice(2), item = inForce().items.find(function (one) { return one.id === id; });
    if (tick.checked && item) { tickOff(item, now(), item.shot ? item.shot.count : 0); return; }
    act(function () {
      state.ticks = Object.assign({}, state.ticks);
      if (tick.checked) { state.ticks[id] = {t: now()}; } else { delete state.ticks[id]; }
    });
  });

  load();
  if (typeof IntersectionObserver === "function") {
    new IntersectionObserver(function (seen) {
      el("bar").dataset.away = seen[seen.length - 1].isIntersecting ? "" : "1";
      el("bar").hidden = el("now").hidden || !el("bar").dataset.away;
    }).observe(el("now"));
  }
  update();
  addEventListener("hashchange", update);
  setInterval(update, 5000);
})();
