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

  function patchBox(train, angle, side) {
    var direction = train[side][angle], p = train.patch;
    var s = Math.sin(direction * rad), c = Math.cos(direction * rad);
    var centre = train.centre[angle];
    var middle = [centre[0] + p.offset * s, centre[1] + p.offset * c];
    return { corners: rectangle(middle, p.height / 2, p.width / 2, direction), middle: middle,
             s: s, c: c };
  }

  function held(train, angle, side) {
    var box = patchBox(train, angle, side), p = train.patch;
    return data.stars.filter(function (star) {
      var x = star[0] - box.middle[0], y = star[1] - box.middle[1];
      return star[2] <= data.limit && Math.abs(x * box.c - y * box.s) <= p.width / 2 &&
        Math.abs(x * box.s + y * box.c) <= p.height / 2;
    });
  }

  // States as of the frame command: found, expected (3 or more by local density), unlikely.
  function outlook(train, angle, side) {
    var stars = held(train, angle, side);
    var count = stars.length + train.fainter[side][angle];
    if (stars.length) {
      var best = Math.min.apply(null, stars.map(function (star) { return star[2]; }));
      var more = stars.length > 1 ? " and " + (stars.length - 1) + " more" : "";
      return { state: "found", words: "Star of G " + best.toFixed(1) + more };
    }
    var shown = count >= 3 ? count.toFixed(0) : count.toFixed(1);
    return count >= 3
      ? { state: "expected", words: "Likely, about " + shown + " by local density" }
      : { state: "unlikely", words: "Unlikely, about " + shown + " by local density" };
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

  function draw(train, angle) {
    while (sky.firstChild) { sky.removeChild(sky.firstChild); }
    var half = data.half;
    sky.setAttribute("viewBox", [-half, -half, 2 * half, 2 * half].join(" "));
    data.stars.forEach(function (star) {
      var size = half * 0.0035 * Math.max(0.6, 1 + (9 - star[2]) * 0.55);
      node("circle", { "class": "star", cx: -star[0], cy: -star[1], r: size.toFixed(3) });
    });
    data.outlines.forEach(function (outline) { node("path", { "class": "outline", d: path(outline) }); });
    data.trains.forEach(function (other) {
      if (other !== train) {
        node("path", { "class": "other",
          d: path(rectangle(other.centre[angle], other.along, other.across, angle)) });
      }
    });
    node("path", { "class": "field", id: "field",
      d: path(rectangle(train.centre[angle], train.along, train.across, angle)) });
    if (train.patch) {
      ["before", "after"].forEach(function (side) {
        node("path", { "class": side, d: path(patchBox(train, angle, side).corners) });
        held(train, angle, side).forEach(function (star) {
          node("circle", { "class": "held", cx: -star[0], cy: -star[1], r: half * 0.018 });
        });
      });
    }
    var edge = 0.94 * half, tick = 0.12 * half, size = 0.05 * half;
    node("path", { "class": "mark",
      d: "M" + edge + " " + (edge - tick) + "V" + edge + "H" + (edge - tick) });
    node("text", { x: edge - 0.2 * size, y: edge - tick - 0.3 * size, "font-size": size, "text-anchor": "end" }, "N");
    node("text", { x: edge - tick - 0.4 * size, y: edge, "font-size": size, "text-anchor": "end" }, "E");
    node("path", { "class": "mark", d: "M" + -edge + " " + edge + "h" + data.bar });
    node("text", { x: -edge, y: edge - 0.4 * size, "font-size": size }, data.bar + "′");
  }

  function update() {
    var train = chosen(), angle = +slider.value;
    draw(train, angle);
    var covered = train.coverage[angle], margin = train.margin[angle];
    write("angle-out", angle + "°");
    write("covered", share(covered));
    write("margin", (margin < 0 ? "−" : "") + Math.abs(margin).toFixed(1) + "′" +
      (margin < data.wanted ? " (wanted: " + data.wanted + "′)" : ""));
    write("up", train.up[angle] + "°");
    var said = train.name + " at " + angle + "°: " + share(covered) + " covered";
    if (train.patch) {
      var east = outlook(train, angle, "before"), west = outlook(train, angle, "after");
      write("east", east.words);
      write("west", west.words);
      sky.dataset.before = east.state;
      sky.dataset.after = west.state;
      said += "; guide star " + east.state + " before the meridian, " + west.state + " after it";
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
