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

  function onSurface(surface, wheel, crush) {
    var i = weights(surface.wheel, wheel), j = weights(surface.crush, crush), sum = 0;
    i.values.forEach(function (wi, a) {
      j.values.forEach(function (wj, b) {
        sum += wi * wj * surface.values[(i.first + a) * surface.crush.length + j.first + b];
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
    var places = settings.wheels.concat([settings.crush], settings.rate === null ? [] : [settings.rate]);
    return limit.curves.reduce(function (value, curve, k) {
      var there = onCurve(curve, places[k]);
      return limit.product ? (limit.base ? value * there / limit.base : 0) : value + there - limit.base;
    }, limit.base);
  }

  // Kept: 0; too near for what is unknown, or for what the tables know: 1; broken: 2.
  function judge(limit, value) {
    if (limit.bound === null) { return { state: 0, slack: 0 }; }
    var slack = (limit.floor ? value - limit.bound : limit.bound - value) / Math.abs(limit.bound || 1);
    if (slack < -1e-6 - limit.error) { return { state: 2, slack: slack }; }
    var needed = limit.hard ? limit.reserve * 0.995 - 1e-6 : -1e-6;
    return { state: slack < Math.max(needed, limit.error ? limit.error : needed) ? 1 : 0, slack: slack };
  }

  function digits(value) {
    if (value === 0) { return "0"; }
    var decimals = Math.max(0, 2 - Math.floor(Math.log10(Math.abs(value)) + 1e-9));
    return value.toFixed(Math.min(decimals, 6));
  }

  function percent(share) { return (100 * share).toFixed(1) + " %"; }

  // A length in mm or a speed without needless noughts.
  function short(value) { return String(Number(value.toPrecision(6))); }

  function show(data) {
    var form = document.getElementById("sliders"), words = document.getElementById("now-words");
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
        label("wheel-" + (k + 1), speed.toFixed(2) + " m/s" + other + " · " + Math.round(speed * wheel.rpm) + " rpm", speed);
      });
      var change = 1000 * now.crush;
      label("crush", alike ? short(1000 * crushes[0] + change) + " mm" : (change < 0 ? "" : "+") + short(change) + " mm", now.crush);
      if (now.rate !== null) { label("rate", short(now.rate) + " a second", now.rate); }
    }

    function written(now, broken) {
      var lines = ["# " + data.title.replace(/[^ -~\u00a0-\uffff]/g, "?") + ": settings tried on the page of configuration " + data.stamp];
      broken.forEach(function (text) { lines.push("# " + text); });
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
      var shown = value * limit.scale + limit.offset, found = judge(limit, value), verdict = "";
      row.cells[1].textContent = (limit.of === "steady" ? "≈ " : "") + digits(shown) + (limit.unit ? " " + limit.unit : "");
      if (limit.bound !== null) {
        verdict = ["kept", found.slack < 0 ? "about at its limit" : limit.hard ? "no margin for what is unknown" : "about at its limit",
                   "BROKEN"][found.state];
      }
      row.cells[3].textContent = verdict;
      row.className = ["", "near", "broken"][found.state];
      row.dataset.value = value;
      return found;
    }

    function update() {
      pending = false;
      var now = settings(), found = answer(data, now), broken = [], near = [], unsafe = false;
      labels(now);
      if (found.jamsIn) {
        ["now-speed", "now-energy", "now-grip", "now-heat"].forEach(function (id) { put(id, "-", ""); });
        data.limits.forEach(function (limit, k) {
          rows[k].cells[1].textContent = rows[k].cells[3].textContent = "-";
          rows[k].className = "";
          rows[k].dataset.value = "";
        });
        broken.push("The projectile jams in stage " + found.jamsIn + ", or it may: ask stager throw.");
        unsafe = true;
      } else {
        put("now-speed", found.speed.toFixed(2) + " m/s", found.last);
        put("now-energy", digits(found.energy) + " J", found.energy);
        put("now-grip", found.share === 0 ? "no limit here" : found.share <= 1
          ? percent(1 - found.share) + " (stage " + found.worst + ")"
          : percent(found.share - 1) + " past it (stage " + found.worst + ")", 1 - found.share);
        put("now-heat", digits(found.heat) + " J", found.heat);
        data.limits.forEach(function (limit, k) {
          var value = valueOf(limit, now, found), judged = limitRow(rows[k], limit, value);
          if (judged.state === 2) {
            broken.push("Breaks the limit on " + limit.name + " by " + percent(-judged.slack) + " of what is allowed.");
            unsafe = unsafe || limit.hard;
          } else if (judged.state === 1) {
            near.push(limit.name);
            unsafe = unsafe || (limit.hard && limit.error === 0);
          }
        });
      }
      var said = broken.length ? broken.join(" ") : near.length ? "" : "All limits that are followed here are kept.";
      if (near.length) { said += (said ? " " : "") + "Too near to be sure: " + near.join(", ") + "."; }
      if (unsafe) { said += " Do not throw with these settings."; }
      put("now-words", said);
      words.className = broken.length || unsafe ? "bad" : "";
      copy.disabled = unsafe;
      toml.value = unsafe ? "# Not given: " + (broken[0] || "hard limits would break in too many builds.") + "\n"
        : written(now, broken);
      toml.rows = Math.min(3 * now.wheels.length + 3, 12);
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
