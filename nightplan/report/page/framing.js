"use strict";
(function () {
  var data = JSON.parse(document.getElementById("framing-data").textContent);
  var sky = document.getElementById("sky");
  var layers = { stars: document.getElementById("stars"), moving: document.getElementById("moving"),
                 rim: document.getElementById("rim") };
  var slider = document.getElementById("angle");
  var knob = document.getElementById("knob"), grip = document.getElementById("grip");
  var space = "http" + "://www.w3.org/2000/svg";
  var rad = Math.PI / 180, half = data.half, spoken = 0;
  // Angle in degrees from 0 to below 180 in tenths; shift of the field in minutes of arc.
  var state = { angle: 0, east: 0, north: 0 };

  function node(layer, name, attributes, text) {
    var made = document.createElementNS(space, name);
    Object.keys(attributes).forEach(function (key) { made.setAttribute(key, attributes[key]); });
    if (text) { made.textContent = text; }
    layer.appendChild(made);
    return made;
  }

  function clear(layer) { while (layer.firstChild) { layer.removeChild(layer.firstChild); } }
  function write(id, text) {
    var place = document.getElementById(id);
    if (place) { place.textContent = text; }
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

  // Along and across a field, from its middle.
  function inField(field, point) {
    var s = Math.sin(field[2] * rad), c = Math.cos(field[2] * rad);
    var x = point[0] - field[0], y = point[1] - field[1];
    return [x * s + y * c, x * c - y * s];
  }

  // A field is [x, y, direction of its long side, directions to the patch before and after the
  // meridian, fainter stars to expect there before and after it]. Between whole degrees the
  // nearest degree's fields are turned about their middle, by half a degree at most.
  function laid(train) {
    var whole = Math.round(state.angle) % 180, by = state.angle - Math.round(state.angle);
    var fields = train.fields[whole];
    if (one() && fields.length > 1) {
      fields = [[0, 0].concat(fields[0].slice(2))];
      fields[0][2] = whole;
    }
    var x = 0, y = 0, s = Math.sin(by * rad), c = Math.cos(by * rad);
    fields.forEach(function (field) { x += field[0] / fields.length; y += field[1] / fields.length; });
    return fields.map(function (field) {
      var dx = field[0] - x, dy = field[1] - y, turned = field.slice();
      turned[0] = x + dx * c + dy * s + state.east;
      turned[1] = y + dy * c - dx * s + state.north;
      [2, 3, 4].forEach(function (k) { if (k < turned.length) { turned[k] += by; } });
      return turned;
    });
  }

  function one() { return document.getElementById("panels-one").checked; }
  function asPlanned(train) {
    var single = train.fields[Math.round(state.angle) % 180].length === 1;
    return !state.east && !state.north && state.angle === Math.round(state.angle) &&
      (single || !one());
  }

  // What a rectangle leaves of a polygon (Sutherland and Hodgman 1974), and its area.
  function clipped(points, along, across) {
    [[0, 1, along], [0, -1, along], [1, 1, across], [1, -1, across]].forEach(function (edge) {
      var kept = [];
      points.forEach(function (p, i) {
        var q = points[(i + 1) % points.length];
        var a = edge[2] - edge[1] * p[edge[0]], b = edge[2] - edge[1] * q[edge[0]];
        if (a >= 0) { kept.push(p); }
        if (a * b < 0) {
          kept.push([p[0] + (q[0] - p[0]) * a / (a - b), p[1] + (q[1] - p[1]) * a / (a - b)]);
        }
      });
      points = kept;
    });
    return points;
  }

  function area(points) {
    return Math.abs(points.reduce(function (sum, p, i) {
      var q = points[(i + 1) % points.length];
      return sum + p[0] * q[1] - q[0] * p[1];
    }, 0)) / 2;
  }

  function contains(polygon, point) {
    var inside = false;
    polygon.forEach(function (p, i) {
      var q = polygon[(i + 1) % polygon.length];
      if ((p[1] > point[1]) !== (q[1] > point[1]) &&
          point[0] < (q[0] - p[0]) * (point[1] - p[1]) / (q[1] - p[1]) + p[0]) { inside = !inside; }
    });
    return inside;
  }

  // Points spread evenly over the target, for the share that several panels hold together.
  var spread = (function () {
    var points = [], all = [].concat.apply([], data.outlines), steps = 60;
    if (!all.length) { return points; }
    var low = [0, 1].map(function (k) { return Math.min.apply(null, all.map(function (p) { return p[k]; })); });
    var high = [0, 1].map(function (k) { return Math.max.apply(null, all.map(function (p) { return p[k]; })); });
    for (var i = 0; i < steps; i += 1) {
      for (var j = 0; j < steps; j += 1) {
        var point = [low[0] + (high[0] - low[0]) * (i + 0.5) / steps,
                     low[1] + (high[1] - low[1]) * (j + 0.5) / steps];
        if (data.outlines.some(function (polygon) { return contains(polygon, point); })) { points.push(point); }
      }
    }
    return points;
  })();

  // Share in the frame and least distance to its edge, as the planner has them or measured here.
  function fit(train, fields) {
    var whole = Math.round(state.angle) % 180;
    if (asPlanned(train)) { return { share: train.coverage[whole], margin: train.margin[whole] }; }
    var margin = Infinity, share;
    if (fields.length === 1) {
      var total = 0, held = 0;
      data.outlines.forEach(function (polygon) {
        var own = polygon.map(function (point) { return inField(fields[0], point); });
        total += area(own);
        held += area(clipped(own, train.along, train.across));
        own.forEach(function (p) {
          margin = Math.min(margin, train.along - Math.abs(p[0]), train.across - Math.abs(p[1]));
        });
      });
      share = total > 0 ? held / total : 1;
    } else {
      var inside = spread.filter(function (point) {
        return fields.some(function (field) {
          var p = inField(field, point);
          return Math.abs(p[0]) <= train.along && Math.abs(p[1]) <= train.across;
        });
      });
      share = spread.length ? inside.length / spread.length : 1;
      // The panels' common edge: a rectangle about all of them, at the angle of the first.
      var base = [0, 0, fields[0][2]], box = [Infinity, -Infinity, Infinity, -Infinity];
      fields.forEach(function (field) {
        var m = inField(base, field);
        box = [Math.min(box[0], m[0] - train.along), Math.max(box[1], m[0] + train.along),
               Math.min(box[2], m[1] - train.across), Math.max(box[3], m[1] + train.across)];
      });
      data.outlines.forEach(function (polygon) {
        polygon.forEach(function (point) {
          var p = inField(base, point);
          margin = Math.min(margin, p[0] - box[0], box[1] - p[0], p[1] - box[2], box[3] - p[1]);
        });
      });
    }
    return { share: Math.min(share, 1), margin: margin === Infinity ? train.across : margin };
  }

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
      return { state: "found", count: count, words: "star of G " + best.toFixed(1) + more };
    }
    var shown = count >= 3 ? count.toFixed(0) : count.toFixed(1);
    return count >= 3
      ? { state: "expected", count: count, words: "likely, about " + shown + " by density" }
      : { state: "unlikely", count: count, words: "unlikely, about " + shown + " by density" };
  }

  // Of a mosaic the panel with the poorest outlook.
  function worst(train, fields, side) {
    var found = null;
    fields.forEach(function (field, number) {
      var here = outlook(train, field, side);
      here.field = field;
      if (fields.length > 1) { here.words = "panel " + (number + 1) + ": " + here.words; }
      var rank = states.indexOf(here.state) - (found ? states.indexOf(found.state) : 9);
      if (rank < 0 || (rank === 0 && here.count < found.count)) { found = here; }
    });
    return found;
  }

  function share(value) {
    if (value > 0.99 && value < 0.9995) { return "over 99 %"; }
    return (100 * value).toFixed(0) + " %";
  }

  function degrees(value) { return (value === Math.round(value) ? value : value.toFixed(1)) + "°"; }

  function chosen() {
    return data.trains[+document.querySelector("input[name=train]:checked").value];
  }

  // The rim: at each angle what it would bring, thick for yes and thin for nearly.
  var rings = [1.05, 1.12, 1.19].map(function (k) { return k * half; });
  var reach = 1.5 * half;

  function onRim(direction, radius) {
    return [-radius * Math.sin(direction * rad), -radius * Math.cos(direction * rad)];
  }

  function arc(layer, from, to, radius, kind) {
    var a = onRim(from, radius), b = onRim(to, radius);
    node(layer, "path", { "class": "arc " + kind, d: "M" + a[0].toFixed(2) + " " + a[1].toFixed(2) +
      "A" + radius.toFixed(2) + " " + radius.toFixed(2) + " 0 " + (to - from > 180 ? 1 : 0) + " 0 " +
      b[0].toFixed(2) + " " + b[1].toFixed(2) });
  }

  function levels(train) {
    var found = [[], [], []];
    for (var angle = 0; angle < 180; angle += 1) {
      found[0].push(train.margin[angle] >= data.wanted ? 2 : train.coverage[angle] >= 0.98 ? 1 : 0);
      if (train.patch) {
        var pair = [worst(train, train.fields[angle], "before").state,
                    worst(train, train.fields[angle], "after").state];
        found[1].push(pair[0] === "found" && pair[1] === "found" ? 2 :
          pair.indexOf("unlikely") < 0 ? 1 : 0);
      } else { found[1].push(0); }
      found[2].push(train.flats.some(function (flat) {
        var off = Math.abs((angle - flat + 270) % 180 - 90);
        return off <= Math.max(data.flats_within, 0.5);
      }) ? 2 : 0);
    }
    return found;
  }

  function drawRim(train) {
    clear(layers.rim);
    levels(train).forEach(function (ring, k) {
      node(layers.rim, "circle", { "class": "ring", r: rings[k] });
      var start = 0;
      for (var angle = 1; angle <= 180; angle += 1) {
        if (angle === 180 || ring[angle] !== ring[start]) {
          if (ring[start]) {
            [0, 180].forEach(function (turn) {
              arc(layers.rim, start - 0.5 + turn, angle - 0.5 + turn, rings[k],
                ring[start] === 2 ? "yes" : "nearly");
            });
          }
          start = angle;
        }
      }
    });
    for (var mark = 0; mark < 360; mark += 15) {
      var a = onRim(mark, 1.23 * half), b = onRim(mark, (mark % 45 ? 1.25 : 1.27) * half);
      node(layers.rim, "path", { "class": "mark", d: "M" + a.join(" ") + "L" + b.join(" ") });
      if (mark % 45 === 0) {
        var at = onRim(mark, 1.395 * half);
        node(layers.rim, "text", { x: at[0], y: at[1] + 0.03 * half, "font-size": 0.085 * half,
          "text-anchor": "middle" }, mark % 180 + "°");
      }
    }
  }

  function drawSky() {
    sky.setAttribute("viewBox", [-reach, -reach, 2 * reach, 2 * reach].join(" "));
    data.stars.slice(0, data.drawn).forEach(function (star) {
      if (Math.hypot(star[0], star[1]) > half) { return; }
      var size = half * 0.0035 * Math.max(0.6, 1 + (9 - star[2]) * 0.55);
      node(layers.stars, "circle", { "class": "star", cx: -star[0], cy: -star[1], r: size.toFixed(3) });
    });
    data.outlines.forEach(function (outline) {
      node(layers.stars, "path", { "class": "outline", d: path(outline) });
    });
    var size = 0.075 * half, edge = 0.93 * half;
    node(layers.stars, "text", { x: 0, y: -edge, "font-size": size, "text-anchor": "middle" }, "N");
    node(layers.stars, "text", { x: -edge, y: size / 3, "font-size": size }, "E");
    node(layers.stars, "path", { "class": "mark", d: "M" + -reach * 0.97 + " " + reach * 0.97 + "h" + data.bar });
    node(layers.stars, "text", { x: -reach * 0.97, y: reach * 0.97 - 0.4 * size, "font-size": size }, data.bar + "′");
  }

  function draw(train, fields, guide) {
    clear(layers.moving);
    if (document.getElementById("others").checked) {
      data.trains.forEach(function (other) {
        if (other === train) { return; }
        other.fields[Math.round(state.angle) % 180].forEach(function (field) {
          node(layers.moving, "path", { "class": "other",
            d: path(rectangle(field, other.along, other.across, field[2])) });
        });
      });
    }
    fields.forEach(function (field, number) {
      node(layers.moving, "path", { "class": "field", d: path(rectangle(field, train.along, train.across, field[2])) });
      if (fields.length > 1) {
        node(layers.moving, "text", { x: -field[0], y: -field[1], "font-size": half * 0.09, "font-weight": "bold",
          "text-anchor": "middle" }, String(number + 1));
      }
    });
    Object.keys(guide).forEach(function (side) {
      node(layers.moving, "path", { "class": side, d: path(patchBox(train, guide[side].field, side).corners) });
      held(train, guide[side].field, side).forEach(function (star) {
        node(layers.moving, "circle", { "class": "held", cx: -star[0], cy: -star[1], r: half * 0.022 });
      });
    });
    clear(knob);
    [0, 180].forEach(function (turn) {
      var a = onRim(state.angle + turn, half), b = onRim(state.angle + turn, 1.24 * half);
      node(knob, "path", { "class": "hand", d: "M" + a.join(" ") + "L" + b.join(" ") });
      node(knob, "circle", { "class": "knob", cx: b[0], cy: b[1], r: 0.055 * half });
    });
  }

  // Where the field's middle lies on the sky, from the target's tangent plane.
  function place() {
    var train = chosen(), fields = laid(train), x = 0, y = 0;
    fields.forEach(function (field) { x += field[0] / fields.length; y += field[1] / fields.length; });
    var xi = x / data.arcmin, eta = y / data.arcmin, d0 = data.dec * rad;
    var down = Math.cos(d0) - eta * Math.sin(d0);
    var ra = data.ra + Math.atan2(xi, down) / rad;
    var dec = Math.atan2(Math.sin(d0) + eta * Math.cos(d0), Math.hypot(xi, down)) / rad;
    return [(ra + 360) % 360, dec];
  }

  function commandWords(train, fields) {
    var more = "";
    if (state.east || state.north) {
      var at = place();
      more += " --centre " + at[0].toFixed(4) + "," + at[1].toFixed(4);
    }
    if (one() || more) { more += " --panels " + fields.length; }
    return data.command.replace("TRAIN", train.word)
      .replace("ANGLE", String(state.angle)).replace(" --record", more + " --record");
  }

  function shifted() {
    if (!state.east && !state.north) { return "none"; }
    var words = [];
    if (state.north) { words.push(Math.abs(state.north).toFixed(1) + "′ " + (state.north > 0 ? "north" : "south")); }
    if (state.east) { words.push(Math.abs(state.east).toFixed(1) + "′ " + (state.east > 0 ? "east" : "west")); }
    return words.join(", ");
  }

  function flatsWords(train) {
    var near = train.flats.some(function (flat) {
      return Math.abs((state.angle - flat + 270) % 180 - 90) <= data.flats_within;
    });
    if (!train.flats.length) { return "none taken yet"; }
    return near ? "still valid" : "new ones needed";
  }

  function update() {
    var train = chosen(), fields = laid(train), guide = {}, now = fit(train, fields);
    if (train.patch) {
      guide = { before: worst(train, fields, "before"), after: worst(train, fields, "after") };
    }
    draw(train, fields, guide);
    var whole = Math.round(state.angle) % 180;
    var up = (train.up[whole] + state.angle - Math.round(state.angle) + 360) % 360;
    slider.value = state.angle;
    write("angle-out", degrees(state.angle));
    write("covered", share(now.share));
    write("margin", (now.margin < 0 ? "−" : "") + Math.abs(now.margin).toFixed(1) + "′" +
      (now.margin < data.wanted ? " < " + data.wanted + "′" : ""));
    write("up", +up.toFixed(2) + "°");
    write("shift", shifted());
    write("flats", flatsWords(train));
    var count = fields.length, grid = train.grid[whole];
    write("panels", count > 1 ? count + " (" + grid[0] + " × " + grid[1] + ")" : "1, a single field");
    var said = train.name + " at " + degrees(state.angle) + ": " + share(now.share) + " in frame" +
      (count > 1 ? " of " + count + " panels" : "");
    if (train.patch) {
      write("before", guide.before.words);
      write("after", guide.after.words);
      sky.dataset.before = guide.before.state;
      sky.dataset.after = guide.after.state;
      said += "; guide star " + guide.before.state + " before the meridian, " +
        guide.after.state + " after it";
    }
    grip.setAttribute("aria-valuenow", state.angle);
    grip.setAttribute("aria-valuetext", degrees(state.angle) + ", " + share(now.share) + " in frame");
    document.getElementById("command").value = commandWords(train, fields);
    write("copied", "");
    clearTimeout(spoken);
    spoken = setTimeout(function () { write("said", said + "."); }, 400);
  }

  function turnTo(angle) {
    state.angle = Math.round(((angle % 180) + 180) % 180 * 10) / 10 % 180;
    update();
  }

  function shiftTo(east, north) {
    var most = half * 0.8;
    state.east = Math.round(Math.max(-most, Math.min(most, east)) * 10) / 10;
    state.north = Math.round(Math.max(-most, Math.min(most, north)) * 10) / 10;
    update();
  }

  // A pointer's place on the sky: east and north in minutes of arc.
  function under(event) {
    var box = sky.getBoundingClientRect(), scale = 2 * reach / Math.min(box.width, box.height);
    return [-(event.clientX - box.left - box.width / 2) * scale,
            -(event.clientY - box.top - box.height / 2) * scale];
  }

  function dragged(element, begin, move) {
    var from = null;
    element.addEventListener("pointerdown", function (event) {
      from = begin(under(event));
      element.setPointerCapture(event.pointerId);
      event.preventDefault();
      element.focus();
    });
    element.addEventListener("pointermove", function (event) { if (from) { move(from, under(event)); } });
    ["pointerup", "pointercancel"].forEach(function (kind) {
      element.addEventListener(kind, function () { from = null; });
    });
  }

  function direction(p) { return Math.atan2(p[0], p[1]) / rad; }

  dragged(grip, function (p) { return { p: direction(p), angle: state.angle }; },
    function (from, p) { turnTo(from.angle + direction(p) - from.p); });
  var field = document.getElementById("field");
  dragged(field, function (p) { return { p: p, east: state.east, north: state.north }; },
    function (from, p) { shiftTo(from.east + p[0] - from.p[0], from.north + p[1] - from.p[1]); });

  var turns = { ArrowLeft: 0.1, ArrowRight: -0.1, ArrowUp: 1, ArrowDown: -1, PageUp: 5, PageDown: -5 };
  grip.addEventListener("keydown", function (event) {
    if (event.key === "Home") { turnTo(data.best); event.preventDefault(); }
    if (!turns[event.key]) { return; }
    turnTo(state.angle + turns[event.key]);
    event.preventDefault();
  });
  var steps = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  field.addEventListener("keydown", function (event) {
    var by = event.shiftKey ? 5 : 1;
    if (event.key === "Enter" || event.key === "Home") { shiftTo(0, 0); event.preventDefault(); }
    if (!steps[event.key]) { return; }
    shiftTo(state.east + by * steps[event.key][0], state.north + by * steps[event.key][1]);
    event.preventDefault();
  });

  document.querySelectorAll("[data-turn]").forEach(function (button) {
    button.addEventListener("click", function () { turnTo(state.angle + +button.dataset.turn); });
  });
  document.querySelectorAll("[data-shift]").forEach(function (button) {
    var by = button.dataset.shift.split(" ").map(Number);
    button.addEventListener("click", function () { shiftTo(state.east + by[0], state.north + by[1]); });
  });
  document.getElementById("again").addEventListener("click", function () {
    state.east = state.north = 0;
    turnTo(data.best);
  });
  document.querySelectorAll("input[name=train]").forEach(function (choice) {
    choice.addEventListener("change", function () { drawRim(chosen()); update(); });
  });
  ["others", "panels-one"].forEach(function (id) {
    document.getElementById(id).addEventListener("change", update);
  });
  slider.addEventListener("input", function () { turnTo(+slider.value); });
  document.getElementById("copy").addEventListener("click", function () {
    // A page from a file may not use the clipboard by itself; what is selected may be copied.
    var command = document.getElementById("command");
    command.focus();
    command.select();
    var done = false;
    try { done = document.execCommand("copy"); } catch (error) { done = false; }
    write("copied", done ? "Copied." : "Marked: copy it with your device's own command.");
  });
  state.angle = data.best;
  var asked = /[#&]angle=(\d+(?:\.\d)?)/.exec(location.hash);
  if (asked) { state.angle = +asked[1] % 180; }
  asked = /[#&]train=(\d+)/.exec(location.hash);
  var wanted = asked && document.querySelectorAll("input[name=train]")[+asked[1]];
  if (wanted) { wanted.checked = true; }
  document.getElementById("live").hidden = false;
  grip.setAttribute("r", 1.18 * half);
  grip.setAttribute("stroke-width", 0.26 * half);
  field.setAttribute("r", 0.98 * half);
  drawSky();
  drawRim(chosen());
  update();
})();
