"use strict";
// Everything on this page can be read without this script; it adds the read-out under the curves.
(function () {
  document.documentElement.classList.add("scripted");
  var stored = {};

  // Milliseconds and ten-thousandths of the highest load, as the paths hold them: "M x y l dx dy dx dy ..."
  function points(name) {
    if (!stored[name]) {
      var list = [];
      var pieces = document.getElementById(name).getAttribute("d").split("M");
      for (var p = 1; p < pieces.length; p++) {
        var numbers = pieces[p].match(/-?\d+/g).map(Number);
        var x = numbers[0], y = numbers[1];
        list.push([x, y]);
        for (var i = 2; i + 1 < numbers.length; i += 2) {
          x += numbers[i];
          y += numbers[i + 1];
          list.push([x, y]);
        }
      }
      stored[name] = list;
    }
    return stored[name];
  }

  function nearest(list, x) {
    var low = 0, high = list.length - 1;
    while (low < high) {
      var middle = (low + high) >> 1;
      if (list[middle][0] < x) { low = middle + 1; } else { high = middle; }
    }
    return list[low > 0 && x - list[low - 1][0] < list[low][0] - x ? low - 1 : low];
  }

  function rounded(value) {
    return value === 0 ? "0" : Number(value.toPrecision(3)).toString();
  }

  document.querySelectorAll("svg.overlay").forEach(function (chart) {
    var layer = chart.querySelector("g.curves");
    var out = chart.parentNode.querySelector("output");
    var idle = out.textContent;
    var chosen = null;

    function choose(use) {
      if (chosen) { chosen.classList.remove("chosen"); }
      chosen = use;
      if (use) { use.classList.add("chosen"); }
    }

    function show(event) {
      var matrix = layer.getScreenCTM();
      var inside = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
      var best = null, at = null, least = 40;
      layer.querySelectorAll("use").forEach(function (use) {
        if (getComputedStyle(use).display === "none") { return; }
        var point = nearest(points(use.getAttribute("href").slice(1)), inside.x);
        var across = (point[0] - inside.x) * matrix.a, along = (point[1] - inside.y) * matrix.d;
        var distance = Math.hypot(across, along);
        if (distance < least) { least = distance; best = use; at = point; }
      });
      choose(best);
      out.textContent = best
        ? best.dataset.label + ": " + rounded(at[1] / 10000 * Number(chart.dataset.top)) + " " + chart.dataset.unit +
          " at " + (at[0] / 1000).toFixed(2) + " s"
        : idle;
    }

    chart.addEventListener("pointermove", function (event) { if (!held) { show(event); } });
    chart.addEventListener("pointerdown", function (event) { held = false; show(event); });
    // A finger that leaves the screen, and a mouse that clicked, leave the read-out standing.
    var held = false;
    chart.addEventListener("click", function () { held = chosen !== null; });
    chart.addEventListener("pointerleave", function (event) {
      if (event.pointerType === "mouse" && !held) { choose(null); out.textContent = idle; }
    });
  });

  // Browsers that can't unfold by style alone.
  var unfolded = [];
  window.addEventListener("beforeprint", function () {
    unfolded = Array.from(document.querySelectorAll("details:not(.deep):not([open])"));
    unfolded.forEach(function (one) { one.open = true; });
  });
  window.addEventListener("afterprint", function () {
    unfolded.forEach(function (one) { one.open = false; });
  });
})();
