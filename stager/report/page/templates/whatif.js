// Answers while sliders move, from tables that the program made; see stager.optimise.response for what they hold.
(function () {
  "use strict";

  var MISSING = 65535, NEAR_TOP = 0.999;

  function unpack(packed) {
    var bytes = atob(packed.data), found = new Float64Array(bytes.length / 2);
    for (var i = 0; i < found.length; i++) {
      var whole = bytes.charCodeAt(2 * i) + 256 * bytes.charCodeAt(2 * i + 1);
      found[i] = whole === MISSING ? NaN : packed.low + packed.step * whole;
    }
    return found;
  }

  // Indices from `first` on and weights of the polynomial through the four nodes about a place.
  function weights(nodes, place) {
    var size = Math.min(4, nodes.length), first = 0, found = [];
    while (first < nodes.length && nodes[first] < place) { first++; }
    first = Math.max(0, Math.min(first - Math.floor(size / 2), nodes.length - size));
    for (var a = 0; a < size; a++) {
      var weight = 1;
      for (var b = 0; b < size; b++) {
        if (a !== b) { weight *= (place - nodes[first + b]) / (nodes[first + a] - nodes[first + b]); }
      }
      found.push(weight);
    }
    return { first: first, values: found };
  }

  function onCurve(curve, place) {
    var near = weights(curve[0], place);
    return near.values.reduce(function (sum, weight, i) { return sum + weight * curve[1][near.first + i]; }, 0);
  }

  function onSurface(surface, place, other) {
    var i = weights(surface.nodes, place), j = weights(surface.others, other), sum = 0;
    i.values.forEach(function (wi, a) {
      j.values.forEach(function (wj, b) {
        sum += wi * wj * surface.values[(i.first + a) * surface.others.length + j.first + b];
      });
    });
    return sum;
  }

  // One stage: speed, spin ratio, heat and acceleration behind it, share of the grip limit; null where it may jam.
  function through(table, pieces, arrival, spin, crush, wheel) {
    var cells = [], corners = [0, 0, 0, 0], limit = 0, width = pieces[0].length;
    var i = weights(table.arrival, arrival), j = weights(table.spin, spin), k = weights(table.crush, crush);
    i.values.forEach(function (wi, a) {
      j.values.forEach(function (wj, b) {
        k.values.forEach(function (wk, c) {
          var cell = ((i.first + a) * table.spin.length + j.first + b) * table.crush.length + k.first + c;
          cells.push([cell, wi * wj * wk]);
        });
      });
    });
    cells.forEach(function (pair) {
      limit += pair[1] * table.grip[pair[0]];
      for (var q = 0; q < 4; q++) { corners[q] += pair[1] * table.corners[4 * pair[0] + q]; }
    });
    if (!(wheel >= corners[0] && wheel <= corners[3])) { return null; }
    var piece = (wheel > corners[1]) + (wheel > corners[2]), low = corners[piece], high = corners[piece + 1];
    var along = weights(pieces[piece], high > low ? (wheel - low) / (high - low) : 0);
    var found = table.values.map(function (values) {
      var sum = 0;
      cells.forEach(function (pair) {
        var start = (pair[0] * pieces.length + piece) * width + along.first;
        along.values.forEach(function (weight, s) { sum += pair[1] * weight * values[start + s]; });
      });
      return sum;
    });
    return { speed: found[0], spin: found[1], heat: found[2], acceleration: found[3],
             share: limit < NEAR_TOP * corners[3] ? wheel / limit : 0 };
  }

  // Settings: wheel speeds [m/s], change of crush [m], rate [1/s].
  function answer(data, settings) {
    var speed = data.feed[0], spin = data.feed[1], found = { heat: 0, acceleration: 0, share: 0, worst: 0 };
    for (var k = 0; k < data.stages.length; k++) {
      var passed = through(data.stages[k], data.pieces, speed, spin, settings.crush, settings.wheels[k]);
      if (passed === null) { return { jamsIn: k + 1 }; }
      speed = passed.speed;
      spin = passed.spin;
      found.heat += passed.heat;
      found.acceleration = Math.max(found.acceleration, passed.acceleration);
      if (passed.share > found.share) { found.share = passed.share; found.worst = k + 1; }
    }
    found.last = speed;
    found.speed = onCurve(data.leaves, speed);
    found.energy = onCurve(data.energy, speed);
    return found;
  }

  function valueOf(limit, settings, found) {
    if (limit.of === "exit_speed") { return onCurve(limit.curve, found.last); }
    if (limit.of === "slip_heat") { return found.heat; }
    if (limit.of === "peak_acceleration") { return found.acceleration; }
    if (limit.of === "grip_margin") { return 1 - found.share; }
    if (limit.of === "wheels") {
      var each = limit.surfaces.map(function (surface, k) { return onSurface(surface, settings.wheels[k], settings.crush); });
      return limit.floor ? Math.min.apply(null, each) : Math.max.apply(null, each);
    }
    var rate = settings.rate === null ? 0 : settings.rate, base = onCurve(limit.base, rate);
    var places = settings.wheels.concat([settings.crush]);
    var parts = limit.surfaces.map(function (surface, k) {
      var nodes = surface.nodes, room = 1e-6 * (nodes[nodes.length - 1] - nodes[0]);
      return places[k] >= nodes[0] - room && places[k] <= nodes[nodes.length - 1] + room ? onSurface(surface, places[k], rate) : NaN;
    });
    if (limit.by === "worst") { return limit.floor ? Math.min.apply(null, parts) : Math.max.apply(null, parts); }
    return parts.reduce(function (value, part) {
      return limit.by === "product" ? value * part / base : value + part - base;
    }, base);
  }

  // What a limit says: "kept", "unknown", "few" (too few builds keep it), "edge" (as near as tables tell), "broken".
  function judge(limit, value) {
    if (limit.bound === null) { return { word: "", slack: 0 }; }
    if (!isFinite(value)) { return { word: "unknown", slack: NaN }; }
    var slack = (limit.floor ? value - limit.bound : limit.bound - value) / Math.abs(limit.bound || 1);
    if (slack < -limit.error) { return { word: "broken", slack: slack }; }
    if (limit.hard && slack < limit.reserve - limit.error) { return { word: "few", slack: slack }; }
    return { word: slack < limit.error ? "edge" : "kept", slack: slack };
  }

  var VERDICTS = { "": "", kept: "kept", unknown: "not known here", few: "kept by too few builds", edge: "no margin left",
                   broken: "BROKEN" };

  function digits(value) {
    if (!isFinite(value)) { return "not known"; }
    if (value === 0) { return "0"; }
    var decimals = Math.max(0, 2 - Math.floor(Math.log10(Math.abs(value)) + 1e-9));
    return value.toFixed(Math.min(decimals, 6));
  }

  function percent(share) { return (100 * share).toFixed(1) + " %"; }

  // A length in mm or a speed without needless noughts.
  function short(value) { return String(Number(value.toPrecision(6))); }

  function show(data) {
    var form = document.getElementById("sliders");
    var rows = document.getElementById("now-limits").rows, toml = document.getElementById("toml");
    var copy = document.getElementById("copy"), copied = document.getElementById("copied");
    var crushes = data.controls.crush.plan, pending = false;
    var alike = crushes.every(function (value) { return value === crushes[0]; });

    function field(id) { return document.getElementById(id); }
    function put(id, text, raw) {
      var place = field(id);
      if (place.textContent !== text) { place.textContent = text; }
      if (raw !== undefined) { place.dataset.value = raw; }
    }
    function steps(id) { return Number(field(id).value); }

    function settings() {
      var rate = data.controls.rate;
      return {
        wheels: data.controls.wheels.map(function (wheel, k) { return wheel.plan + wheel.step * steps("wheel-" + (k + 1)); }),
        crush: data.controls.crush.step * steps("crush"),
        rate: rate === null ? null : rate.plan + rate.step * steps("rate")
      };
    }

    function label(id, text, raw) {
      put(id + "-value", text, raw);
      field(id).setAttribute("aria-valuetext", text);
    }

    function labels(now) {
      now.wheels.forEach(function (speed, k) {
        var wheel = data.controls.wheels[k], other = wheel.ratio === 1 ? "" : ", B " + (speed * wheel.ratio).toFixed(2);
        // Rounded down, as advice goes beyond no limit; those of the plan are the ones of the card.
        var rpm = speed === wheel.plan ? wheel.set : Math.floor(speed * wheel.rpm);
        label("wheel-" + (k + 1), speed.toFixed(2) + " m/s" + other + " · " + rpm + " rpm", speed);
      });
      var change = 1000 * now.crush;
      label("crush", alike ? short(1000 * crushes[0] + change) + " mm" : (change < 0 ? "" : "+") + short(change) + " mm", now.crush);
      if (now.rate !== null) { label("rate", short(now.rate) + " a second", now.rate); }
    }

    function written(now, said) {
      var lines = ["# " + data.title.replace(/[^ -~\u00a0-\uffff]/g, "?") + ": settings tried on the page of configuration " + data.stamp];
      said.forEach(function (text) { lines.push("# " + text); });
      if (now.rate !== null) { lines.push("# in [feed]: rate = \"" + short(now.rate) + " /s\""); }
      now.wheels.forEach(function (speed, k) {
        var ratio = data.controls.wheels[k].ratio;
        lines.push("[[stages]]", "speed = \"" + short(speed) + (ratio === 1 ? "" : ":" + short(speed * ratio)) + " m/s\"",
                   "crush = \"" + short(1000 * (crushes[k] + now.crush)) + " mm\"");
        lines = lines.concat(data.parts[k]);
      });
      return lines.join("\n") + "\n";
    }

    function limitRow(row, limit, value) {
      var found = judge(limit, value), known = isFinite(value), shown = value * limit.scale + limit.offset;
      row.cells[1].textContent = known
        ? (limit.of === "steady" ? "≈ " : "") + digits(shown) + (limit.unit ? " " + limit.unit : "") : "-";
      row.cells[3].textContent = VERDICTS[found.word];
      row.className = found.word;
      row.dataset.value = value;
      return found;
    }

    function showThrow(found) {
      put("now-speed", found.speed.toFixed(2) + " m/s", found.last);
      put("now-energy", digits(found.energy) + " J", found.energy);
      put("now-grip", found.share === 0 ? "no limit here" : found.share <= 1
        ? percent(1 - found.share) + " (stage " + found.worst + ")"
        : percent(found.share - 1) + " past it (stage " + found.worst + ")", 1 - found.share);
      put("now-heat", digits(found.heat) + " J", found.heat);
    }

    function showJam() {
      ["now-speed", "now-energy", "now-grip", "now-heat"].forEach(function (id) { put(id, "-", ""); });
      data.limits.forEach(function (limit, k) {
        rows[k].cells[1].textContent = rows[k].cells[3].textContent = "-";
        rows[k].className = "";
        rows[k].dataset.value = "";
      });
    }

    // Sentences on what is broken, or near it; whether somebody could be hurt.
    function words(now, found) {
      var said = [], names = { few: [], edge: [], unknown: [] }, unsafe = false;
      data.limits.forEach(function (limit, k) {
        var judged = limitRow(rows[k], limit, valueOf(limit, now, found));
        if (judged.word === "broken") {
          said.push("Breaks the limit on " + limit.name + " by " + percent(-judged.slack) + " of what is allowed.");
        } else if (names[judged.word]) { names[judged.word].push(limit.name); }
        unsafe = unsafe || (limit.hard && (judged.word === "broken" || judged.word === "few"));
      });
      if (names.few.length) { said.push("Kept by too few builds: " + names.few.join(", ") + "."); }
      if (names.unknown.length) { said.push("Not known here: " + names.unknown.join(", ") + "."); }
      if (!said.length) { said.push("All limits that are followed here are kept."); }
      if (names.edge.length) { said.push("No margin left: " + names.edge.join(", ") + "."); }
      return { said: said, unsafe: unsafe };
    }

    function update() {
      pending = false;
      var now = settings(), found = answer(data, now), told;
      labels(now);
      if (found.jamsIn) {
        showJam();
        told = { said: ["The projectile jams in stage " + found.jamsIn + ", or it may: ask stager throw."], unsafe: true };
      } else {
        showThrow(found);
        told = words(now, found);
      }
      put("now-words", told.said.join(" ") + (told.unsafe ? " Do not throw with these settings." : ""));
      field("now-words").className = told.unsafe || /^Breaks/.test(told.said[0]) ? "bad" : "";
      copy.disabled = told.unsafe;
      toml.value = told.unsafe ? "# Not given. " + told.said[0] + "\n" : written(now, told.said);
      toml.rows = toml.value.split("\n").length;
      put("copied", "");
    }

    function later() {
      if (!pending) {
        pending = true;
        window.requestAnimationFrame(update);
      }
    }

    form.addEventListener("input", later);
    form.addEventListener("submit", function (event) { event.preventDefault(); });
    form.addEventListener("reset", function () { window.setTimeout(update, 0); });
    copy.addEventListener("click", function () {
      var done = function () { put("copied", "Copied."); };
      var byHand = function () {
        toml.select();
        put("copied", document.execCommand("copy") ? "Copied." : "Copy the marked text.");
      };
      if (navigator.clipboard && window.isSecureContext) {
        navigator.clipboard.writeText(toml.value).then(done, byHand);
      } else { byHand(); }
    });
    document.getElementById("whatif").hidden = false;
    form.reset();
    update();
  }

  function start() {
    var data = JSON.parse(document.getElementById("response").textContent);
    data.stages.forEach(function (table) {
      table.corners = unpack(table.corners);
      table.grip = unpack(table.grip);
      table.values = table.values.map(unpack);
    });
    data.limits.forEach(function (limit) {
      (limit.surfaces || []).forEach(function (surface) { surface.values = unpack(surface.values); });
    });
    show(data);
  }

  start();
}());
