"use strict";
(function () {
  var data = JSON.parse(document.getElementById("framing-data").textContent);
  var sky = document.getElementById("sky");
  var slider = document.getElementById("angle");
  var space = "http" + "://www.w3.org/2000/svg";
  var rad = Math.PI / 180;
  var spoken = 0;

  function node(name, attributes, text) {
    var made = document.createElementNS(space, name);
    Object.keys(attributes).forEach(function (key) { made.setAttribute(key, attributes[key]); });
    if (text) { made.textContent = text; }
    sky.appendChild(made);
    return made;
  }

  // East is to the left, north is up; lengths in minutes of arc.
  function path(points) {
    return points.map(function (p, i) {
      return (i ? "L" : "M") + (-p[0]).toFixed(2) + " " + (-p[1]).toFixed(2);
    }).join("") + "Z";
  }

  // A rectangle whose first half side lies along a direction, north through east.
  function rectangle(centre, along, across, direction) {
    var s = Math.sin(direction * rad), c = Math.cos(direction * rad);
    return [[1, 1], [1, -1], [-1, -1], [-1, 1]].map(function (k) {
      return [centre[0] + k[0] * along * s + k[1] * across * c,
              centre[1] + k[0] * along * c - k[1] * across * s];
    });
  }

  // A field is [x, y, direction of its long side, directions to the patch before and after the
  // meridian, fainter stars to expect there before and after it].
  var sides = { before: 0, after: 1 };

  function patchBox(train, field, side) {
    var direction = field[3 + sides[side]], p = train.patch;
    var s = Math.sin(direction * rad), c = Math.cos(direction * rad);
    var middle = [field[0] + p.offset * s, field[1] + p.offset * c];
    return { corners: rectangle(middle, p.height / 2, p.width / 2, direction), middle: middle,
             s: s, c: c };
  }

  function held(train, field, side) {
    var box = patchBox(train, field, side), p = train.patch;
    return data.stars.filter(function (star) {
      var x = star[0] - box.middle[0], y = star[1] - box.middle[1];
      return star[2] <= data.limit && star[2] >= p.bright && Math.abs(x * box.c - y * box.s) <= p.width / 2 &&
        Math.abs(x * box.s + y * box.c) <= p.height / 2;
    });
  }

  // States as of the frame command: found, expected (3 or more by local density), unlikely.
  var states = ["unlikely", "expected", "found"];

  function outlook(train, field, side) {
    var stars = held(train, field, side);
    var count = stars.length + field[5 + sides[side]];
    if (stars.length) {
      var best = Math.min.apply(null, stars.map(function (star) { return star[2]; }));
      var more = stars.length > 1 ? " and " + (stars.length - 1) + " more" : "";
      return { state: "found", count: count, words: "guide star of G " + best.toFixed(1) + more };
    }
    var shown = count >= 3 ? count.toFixed(0) : count.toFixed(1);
    return count >= 3
      ? { state: "expected", count: count,
          words: "guide star likely, about " + shown + " by local density" }
      : { state: "unlikely", count: count,
          words: "guide star unlikely, about " + shown + " by local density" };
  }

  // Of a mosaic's panels the one that is worst off.
  function worst(train, angle, side) {
    var found = null;
    train.fields[angle].forEach(function (field, number) {
      var here = outlook(train, field, side);
      here.field = field;
      if (train.fields[angle].length > 1) { here.words = "panel " + (number + 1) + ", the worst off: " + here.words; }
      var rank = states.indexOf(here.state) - (found ? states.indexOf(found.state) : 9);
      if (rank < 0 || (rank === 0 && here.count < found.count)) { found = here; }
    });
    return found;
  }

  function share(value) {
    if (value > 0.99 && value < 0.9995) { return "over 99 %"; }
    return (100 * value).toFixed(0) + " %";
  }

  function chosen() {
    return data.trains[+document.querySelector("input[name=train]:checked").value];
  }

  function write(id, text) {
    var place = document.getElementById(id);
    if (place) { place.textContent = text; }
  }

  function draw(train, angle, guide) {
    while (sky.firstChild) { sky.removeChild(sky.firstChild); }
    var half = data.half;
    sky.setAttribute("viewBox", [-half, -half, 2 * half, 2 * half].join(" "));
    data.stars.slice(0, data.drawn).forEach(function (star) {
      var size = half * 0.0035 * Math.max(0.6, 1 + (9 - star[2]) * 0.55);
      node("circle", { "class": "star", cx: -star[0], cy: -star[1], r: size.toFixed(3) });
    });
    data.outlines.forEach(function (outline) { node("path", { "class": "outline", d: path(outline) }); });
    data.trains.forEach(function (other) {
      if (other !== train) {
        other.fields[angle].forEach(function (field) {
          node("path", { "class": "other",
            d: path(rectangle(field, other.along, other.across, field[2])) });
        });
      }
    });
    train.fields[angle].forEach(function (field, number) {
      node("path", { "class": "field", d: path(rectangle(field, train.along, train.across, field[2])) });
      if (train.fields[angle].length > 1) {
        node("text", { x: -field[0], y: -field[1], "font-size": half * 0.08, "font-weight": "bold",
          "text-anchor": "middle" }, String(number + 1));
      }
    });
    Object.keys(guide).forEach(function (side) {
      node("path", { "class": side, d: path(patchBox(train, guide[side].field, side).corners) });
      held(train, guide[side].field, side).forEach(function (star) {
        node("circle", { "class": "held", cx: -star[0], cy: -star[1], r: half * 0.018 });
      });
    });
    var edge = 0.94 * half, tick = 0.12 * half, size = 0.05 * half;
    node("path", { "class": "mark",
      d: "M" + edge + " " + (edge - tick) + "V" + edge + "H" + (edge - tick) });
    node("text", { x: edge - 0.2 * size, y: edge - tick - 0.3 * size, "font-size": size, "text-anchor": "end" }, "N");
    node("text", { x: edge - tick - 0.4 * size, y: edge, "font-size": size, "text-anchor": "end" }, "E");
    node("path", { "class": "mark", d: "M" + -edge + " " + edge + "h" + data.bar });
    node("text", { x: -edge, y: edge - 0.4 * size, "font-size": size }, data.bar + "′");
  }

  function update() {
    var train = chosen(), angle = +slider.value, guide = {};
    if (train.patch) {
      guide = { before: worst(train, angle, "before"), after: worst(train, angle, "after") };
    }
    draw(train, angle, guide);
    var covered = train.coverage[angle], margin = train.margin[angle];
    write("angle-out", angle + "°");
    write("covered", share(covered));
    write("margin", (margin < 0 ? "−" : "") + Math.abs(margin).toFixed(1) + "′" +
      (margin < data.wanted ? " (wanted: " + data.wanted + "′)" : ""));
    write("up", train.up[angle] + "°");
    var count = train.fields[angle].length, grid = train.grid[angle];
    write("panels", count > 1 ? count + " (" + grid[0] + " × " + grid[1] + ")" : "1, a single field");
    var said = train.name + " at " + angle + "°: " + share(covered) + " covered" +
      (count > 1 ? " by " + count + " panels" : "");
    if (train.patch) {
      write("before", guide.before.words);
      write("after", guide.after.words);
      sky.dataset.before = guide.before.state;
      sky.dataset.after = guide.after.state;
      said += "; guide star " + guide.before.state + " before the meridian, " +
        guide.after.state + " after it";
    }
    document.getElementById("command").value = data.command
      .replace("TRAIN", train.word).replace("ANGLE", angle);
    write("copied", "");
    clearTimeout(spoken);
    spoken = setTimeout(function () { write("said", said + "."); }, 400);
  }

  function turn(by) {
    slider.value = (+slider.value + by + 180) % 180;
    update();
  }

  document.querySelectorAll("[data-turn]").forEach(function (button) {
    button.addEventListener("click", function () { turn(+button.dataset.turn); });
  });
  document.querySelectorAll("input[name=train]").forEach(function (choice) {
    choice.addEventListener("change", update);
  });
  slider.addEventListener("input", update);
  document.getElementById("copy").addEventListener("click", function () {
    // A page from a file may not use the clipboard by itself; what is selected may be copied.
    var command = document.getElementById("command");
    command.focus();
    command.select();
    var done = false;
    try { done = document.execCommand("copy"); } catch (error) { done = false; }
    write("copied", done ? "Copied." : "Marked: copy it with your device's own command.");
  });
  var asked = /[#&]angle=(\d+)/.exec(location.hash);
  if (asked) { slider.value = +asked[1] % 180; }
  asked = /[#&]train=(\d+)/.exec(location.hash);
  var wanted = asked && document.querySelectorAll("input[name=train]")[+asked[1]];
  if (wanted) { wanted.checked = true; }
  document.getElementById("live").hidden = false;
  update();
})();
