"use strict";
(function () {
  var data = JSON.parse(document.getElementById("night-data").textContent);
  var MINUTE = 60000, FAR_BEHIND = 15 * MINUTE, STEP = 10 * MINUTE;
  // late: by what the last tick came later than planned; extra: added by hand, held: from where on.
  // Ticks are kept by what was done, so that they outlive a re-plan; all else is of one plan.
  var state = {ticks: {}, late: 0, extra: 0, held: "", losses: [], past: [], plan: ""};
  var fewer = 0, shownRow = "";
  var parts = nightParts(data), clock = parts.clock, span = parts.span, iso = parts.iso;

  function el(id) { return document.getElementById(id); }
  function say(node, text) { if (node.textContent !== text) { node.textContent = text; } }

  // Rehearse a moment of the night: add #at=2027-10-06T22:00Z to the address.
  function now() {
    var asked = /[#&]at=([^&]+)/.exec(location.hash);
    var wanted = asked ? Date.parse(decodeURIComponent(asked[1])) : NaN;
    return isNaN(wanted) ? Date.now() : wanted;
  }

  // What names a step, whichever plan it stands in.
  function mark(item) {
    var shot = item.shot;
    if (shot) { return [shot.target, shot.panel, shot.filter, shot.start_utc].join("|"); }
    return item.kind === "setup" || item.id[0] === "e" ? item.words : item.words + "|" + item.start;
  }

  function tickOf(item) { return state.ticks[mark(item)]; }

  // What was done outlives a reload where the browser allows a page to keep things.
  function load() {
    try {
      var kept = JSON.parse(localStorage.getItem(data.key));
      if (kept && typeof kept.ticks === "object") {
        state.ticks = kept.ticks;
        if (kept.plan === data.plan) { state = Object.assign(state, kept); }
      }
    } catch (error) { /* nothing is kept */ }
    if (state.plan === data.plan) { return; }
    state.plan = data.plan;
    // A plan made anew holds what was shot before it: it begins with that ticked off.
    data.items.forEach(function (item) {
      if (item.kind === "idle" || !(item.start < data.anew)) { return; }
      var known = tickOf(item), tick = ticked(item, item.end, item.shot && item.shot.count);
      if (known && item.shot) { known.n = Math.min(known.n, item.shot.count); }
      state.ticks[mark(item)] = known || tick;
    });
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

  // The plan in force before lateness: the night's, or with the rest that is left after losses.
  function chosen() {
    if (!state.losses.length) { return data.items; }
    var list = nightLosses.after(data, state.losses);
    var ended = Math.max.apply(null, list.map(function (item) { return item.shot ? item.end : 0; }));
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
    list.forEach(function (item, i) { if (tickOf(item)) { last = i; } });
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
    document.body.classList.toggle("live", !box.hidden);
    if (box.hidden) { point(null); return; }
    var at = position(force, t), current = at < 0 ? null : items[at];
    var live = function (item) { return item.kind !== "idle"; };
    var next = at < 0 && force.last >= 0 ? null : following(items, at + 1, t, live);
    var loud = following(items, current ? at : (next ? items.indexOf(next) : items.length), t,
      function (item) { return item.kind === "flip" || item.kind === "turn"; });
    point(current);
    fold(items, at, t);
    say(el("now-clock"), clock(t));
    say(el("now-by"), (force.last < 0 ? "by the clock" : "by your ticks")
      + (current && current.late ? ", " + span(current.late) + " late" : ""));
    say(el("now-what"), current ? current.words : next ? waiting(t) : "Over");
    say(el("now-how"), current ? how(current, t) : next ? "" : "All is done. Sleep before you drive.");
    el("now-rule").hidden = data.strip[0] <= t && t <= data.strip[1];
    say(el("now-next"), next ? "Next: " + next.words + " at " + clock(next.start)
      + (next.start > t ? ", in " + span(next.start - t) : "") : "");
    say(el("now-turn"), turnText(loud, t));
    el("now-turn").hidden = !loud;
    buttons(current, force, t);
    say(el("bar"), current ? current.words + ", until " + clock(current.end) : el("now-what").textContent);
  }

  function waiting(t) {
    var loss = state.losses[state.losses.length - 1];
    return loss && t < loss.to ? "Clouds until " + clock(loss.to) : "Nothing to do yet";
  }

  function buttons(current, force, t) {
    var done = el("done"), block = current && current.shot;
    done.hidden = !current;
    el("later").hidden = !current;
    el("fewer").hidden = el("more").hidden = !block;
    el("undo").hidden = !state.past.length;
    el("catch-up").hidden = !(force.last >= 0 && current && t > current.end + FAR_BEHIND);
    el("clouds").hidden = !force.items.some(function (item, i) { return i > force.last && item.shot && item.end > t; });
    if (el("clouds").hidden) { el("losses").hidden = true; }
    say(done, block && fewer ? "Done: " + (current.shot.count - fewer) + " of " + current.shot.count : "Done");
    say(el("now-note"), state.losses.length ? lossText(state.losses[state.losses.length - 1]) : "");
  }

  function lossText(loss) {
    var lost = "othing shot from " + clock(loss.from) + " to " + clock(loss.to);
    return loss.answer >= 0 ? "Planned anew: n" + lost + "."
      : "N" + lost + ": those subs are left out, the rest keeps its times (not solved anew).";
  }

  function point(current) {
    document.querySelectorAll("[aria-current]").forEach(function (row) {
      row.removeAttribute("aria-current");
    });
    var row = current && el(current.id);
    if (!row) { return; }
    row.setAttribute("aria-current", "step");
    // Below the first card the row in force stands at the top of its list already.
    if (shownRow && shownRow !== current.id && el("bar").dataset.away) {
      row.scrollIntoView({block: "center"});
    }
    shownRow = current.id;
  }

  function rows(items) {
    var force = {}, again = items.filter(function (item) { return item.again; });
    items.forEach(function (item) { force[item.id] = item; });
    el("again").hidden = !state.losses.length;
    var shape = JSON.stringify(again.map(function (item) { return [item.id, item.subs]; }));
    if (el("again").dataset.shape !== shape) {
      el("again").dataset.shape = shape;
      el("again-rows").replaceChildren.apply(el("again-rows"), again.map(parts.row));
    }
    say(el("again-h"), state.losses.map(lossText).join(" "));
    data.items.concat(again).forEach(function (plain) {
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
      if (tick) { tick.checked = Boolean(tickOf(plain)); }
    });
    document.querySelectorAll(".group").forEach(function (group) {
      group.hidden = !group.querySelector(".row:not([hidden])");
    });
    document.querySelectorAll("#calibration input").forEach(function (tick) {
      tick.checked = Boolean(state.ticks[tick.getAttribute("aria-label")]);
    });
    leave();
  }

  // Steps that are over are folded away, so that the one in force leads its list, below the card.
  function fold(items, at, t) {
    var folded = 0;
    items.forEach(function (item, i) {
      var over = at >= 0 ? i < at : item.end <= t, row = el(item.id);
      if (row) { row.classList.toggle("over", over); folded += over ? 1 : 0; }
    });
    document.querySelectorAll("#setup, .group").forEach(function (part) {
      part.classList.toggle("over", !part.querySelector(".row:not(.over):not([hidden])"));
    });
    el("earlier").hidden = !folded;
    say(el("earlier"), document.body.classList.contains("all") ? "Fold" : folded + " earlier");
  }

  function ticked(item, t, count) {
    var entry = {t: t};
    if (item && item.shot) {
      entry.n = count;
      entry.shot = item.shot;
      entry.each = (item.end - item.start) / item.shot.count;
      entry.start = Math.min(item.start, t - (item.end - item.start));
      if (t > item.end) { entry.start = item.start; }
    }
    return entry;
  }

  function tickOff(item, t, count) {
    act(function () {
      state.ticks = Object.assign({}, state.ticks);
      state.ticks[mark(item)] = ticked(item, t, count);
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
    var shot = Object.keys(state.ticks).map(function (key) { return state.ticks[key]; })
      .filter(function (tick) { return tick.shot && tick.n > 0; })
      .sort(function (one, other) { return one.start - other.start; })
      .map(function (tick) {
        return Object.assign({}, tick.shot, {count: tick.n, start_utc: iso(tick.start),
          end_utc: iso(tick.start + tick.n * tick.each), ticked_utc: iso(tick.t)});
      });
    var page = {document: "ticks", site: data.site, rig: data.rig, date: data.date, shot: shot};
    el("leave").hidden = !shot.length;
    el("ticks-file").download = "ticks-" + data.date + ".json";
    el("ticks-file").href = "data:application/json;charset=utf-8," + encodeURIComponent(JSON.stringify(page, null, 1));
  }

  function offerLosses() {
    var open = el("losses").hidden;
    el("losses").hidden = !open;
    el("clouds").setAttribute("aria-expanded", String(open));
    if (!open) { return; }
    el("losses").replaceChildren.apply(el("losses"), nightLosses.MINUTES.map(function (minutes) {
      var button = document.createElement("button");
      button.type = "button";
      button.textContent = minutes + " min";
      button.addEventListener("click", function () { lose(minutes); });
      return button;
    }));
  }

  function lose(minutes) {
    var t = now(), force = inForce(), at = position(force, t), item = force.items[at];
    if (at < 0) { at = force.items.findIndex(function (one) { return one.start > t; }); }
    var to = t + minutes * MINUTE, first = state.losses.length ? [] : data.losses;
    var answer = nightLosses.answerOf(first, chosen(), at, t, to);
    var solved = answer < 0 ? to : data.losses[answer].at + data.losses[answer].minutes * MINUTE;
    var done = item && item.shot && item.start < t ? item.shot.count - left(item, t) - fewer : 0;
    act(function () {
      state.losses = state.losses.concat({index: at, shot: Math.max(0, done), late: item && item.late || 0,
        from: t, to: solved, answer: answer});
      state.late = state.extra = 0;
      state.held = "";
    });
    el("losses").hidden = true;
    el("again").scrollIntoView({block: "start"});
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
        if (item.kind !== "idle" && item.end <= t && !tickOf(item)) {
          state.ticks[mark(item)] = ticked(item, t, item.shot && item.shot.count);
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
    var key = item ? mark(item) : tick.getAttribute("aria-label");
    act(function () {
      state.ticks = Object.assign({}, state.ticks);
      if (tick.checked) { state.ticks[key] = {t: now()}; } else { delete state.ticks[key]; }
    });
  });

  function unfold(all) {
    document.body.classList.toggle("all", all);
    update();
  }

  el("earlier").addEventListener("click", function () { unfold(!document.body.classList.contains("all")); });
  document.querySelector("nav").addEventListener("click", function () { unfold(true); });

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
