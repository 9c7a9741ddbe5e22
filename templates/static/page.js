/* What a page gains with JavaScript: sorting and filtering of tables, search, values under the
   pointer. Nothing is missing without it. One classic script, because a page opened from a folder
   loads no modules. */
(function () {
  "use strict";

  var INDEX = "waferRecordSearchIndex";
  var MOST_FOUND = 20;
  var LEAST_ROWS_TO_FILTER = 12;
  var script = document.currentScript;
  var root = new URL("../", script.src);

  function made(tag, properties, children) {
    var element = document.createElement(tag);
    Object.keys(properties || {}).forEach(function (name) {
      if (name in element) { element[name] = properties[name]; }
      else { element.setAttribute(name, properties[name]); }
    });
    (children || []).forEach(function (child) { element.append(child); });
    return element;
  }

  /* Tables */

  function sortKey(row, column) {
    var cell = row.cells[column];
    if (!cell) { return ""; }
    var text = cell.dataset.sortValue !== undefined ? cell.dataset.sortValue
      : cell.textContent.trim();
    var plain = text.replace(/\u2212/g, "-").replace(/\u202f/g, "");
    var number = plain === "" ? NaN : Number(plain);
    return Number.isNaN(number) ? text : number;
  }

  function compared(a, b) {
    var numbers = (typeof a === "number") - (typeof b === "number");
    if (numbers) { return -numbers; }
    if (typeof a === "number") { return a - b; }
    return a.localeCompare(b, "en", { numeric: true });
  }

  function sortBy(table, column, descending) {
    var body = table.tBodies[0];
    var keyed = Array.from(body.rows, function (row) { return [sortKey(row, column), row]; });
    keyed.sort(function (a, b) {
      /* What is empty stands last in either order. */
      if (a[0] === "" || b[0] === "") { return (a[0] === "") - (b[0] === ""); }
      return descending ? compared(b[0], a[0]) : compared(a[0], b[0]);
    });
    keyed.forEach(function (pair) { body.append(pair[1]); });
  }

  function makeSortable(table) {
    var heads = Array.from(table.tHead.rows[0].cells);
    heads.forEach(function (head, column) {
      var button = made("button", { type: "button" });
      button.append.apply(button, Array.from(head.childNodes));
      head.append(button);
      button.addEventListener("click", function () {
        var descending = head.getAttribute("aria-sort") === "ascending";
        heads.forEach(function (other) { other.removeAttribute("aria-sort"); });
        head.setAttribute("aria-sort", descending ? "descending" : "ascending");
        sortBy(table, column, descending);
      });
    });
  }

  function makeFilterable(table) {
    var rows = Array.from(table.tBodies[0].rows);
    if (rows.length < LEAST_ROWS_TO_FILTER) { return; }
    var name = table.id + "-filter";
    var input = made("input", { type: "search", id: name, autocomplete: "off" });
    var count = made("output", { htmlFor: name });
    input.addEventListener("input", function () {
      var words = input.value.toLowerCase().replace(/-/g, "\u2212").split(/\s+/).filter(Boolean);
      var shown = 0;
      rows.forEach(function (row) {
        var text = row.textContent.toLowerCase().replace(/-/g, "\u2212");
        row.hidden = !words.every(function (word) { return text.includes(word); });
        shown += row.hidden ? 0 : 1;
      });
      count.textContent = words.length ? shown + " of " + rows.length + " rows" : "";
    });
    var region = table.closest(".scroll") || table;
    region.before(made("p", { className: "filter" }, [
      made("label", { htmlFor: name, textContent: "Show rows with" }), input, count,
    ]));
  }

  /* A region that does not scroll needs no place in the order of the Tab key. */
  function tabOnlyWhereItScrolls() {
    document.querySelectorAll(".scroll").forEach(function (region) {
      if (region.scrollWidth > region.clientWidth) { region.tabIndex = 0; }
      else { region.removeAttribute("tabindex"); }
    });
  }

  /* Search */

  function matches(entries, text) {
    var words = text.toLowerCase().replace(/-/g, "\u2212").replace(/_/g, " ")
      // A die's place may be typed as its address has it: x1 y-2.
      .replace(/\bx(\u2212?\d+)/g, "($1,").replace(/\by(\u2212?\d+)/g, "\u00a0$1)")
      .split(" ").filter(Boolean);
    if (!words.length) { return []; }
    return entries.filter(function (entry) {
      var label = (entry[2] + " " + entry[0]).toLowerCase().replace(/-/g, "\u2212");
      return words.every(function (word) { return label.includes(word); });
    });
  }

  function addSearch(header) {
    var input = made("input", { type: "search", id: "search", autocomplete: "off" });
    var list = made("ul");
    var status = made("p", { role: "status" });
    var found = made("div", { className: "found", hidden: true }, [status, list]);
    var loading = false;

    function show() {
      var entries = window[INDEX];
      var text = input.value.trim();
      list.textContent = "";
      found.hidden = !text;
      if (!text) { status.textContent = ""; return; }
      if (!entries) { status.textContent = "The index is being loaded."; return; }
      var all = matches(entries, text);
      all.slice(0, MOST_FOUND).forEach(function (entry) {
        list.append(made("li", {}, [
          made("a", { href: new URL(entry[1], root).href, textContent: entry[0] }),
          " ", made("span", { className: "kind", textContent: entry[2] }),
        ]));
      });
      status.textContent = all.length === 0 ? "Nothing found."
        : all.length > MOST_FOUND ? "The first " + MOST_FOUND + " of " + all.length + " found."
        : all.length + " found.";
    }

    input.addEventListener("focus", function () {
      if (loading || window[INDEX]) { return; }
      loading = true;
      var index = made("script", { src: header.dataset.searchIndex });
      index.addEventListener("load", show);
      index.addEventListener("error", function () {
        status.textContent = "The index could not be loaded.";
      });
      document.head.append(index);
    });
    input.addEventListener("input", show);
    var box = made("search", { className: "search" }, [
      made("label", { htmlFor: "search", textContent: "Search" }), input, found,
    ]);
    box.addEventListener("keydown", function (event) {
      var links = Array.from(list.querySelectorAll("a"));
      var place = links.indexOf(document.activeElement);
      if (event.key === "Escape") {
        input.value = "";
        show();
        input.focus();
      } else if (event.key === "ArrowDown" && place < links.length - 1) {
        event.preventDefault();
        links[place + 1].focus();
      } else if (event.key === "ArrowUp" && place >= 0) {
        event.preventDefault();
        (links[place - 1] || input).focus();
      } else if (event.key === "Enter" && event.target === input && links.length) {
        links[0].click();
      }
    });
    box.addEventListener("focusout", function (event) {
      if (!box.contains(event.relatedTarget)) { found.hidden = true; }
    });
    box.addEventListener("focusin", function () { found.hidden = !input.value.trim(); });
    header.querySelector(".fixed").after(box);
  }

  /* Values under the pointer */

  function points(plot) {
    var all = [];
    plot.querySelectorAll("polyline").forEach(function (line, curve) {
      var numbers = line.getAttribute("points").split(/[ ,]+/).map(Number);
      for (var at = 0; at + 1 < numbers.length; at += 2) {
        all.push([numbers[at], numbers[at + 1], curve]);
      }
    });
    return all;
  }

  function onAxis(lower, upper, share, logarithmic) {
    return logarithmic ? lower * Math.pow(upper / lower, share) : lower + (upper - lower) * share;
  }

  function frequencyText(hertz) {
    var units = [[1e9, "GHz"], [1e6, "MHz"], [1e3, "kHz"]];
    for (var at = 0; at < units.length; at += 1) {
      if (hertz >= units[at][0]) {
        return Number((hertz / units[at][0]).toPrecision(4)) + "\u202f" + units[at][1];
      }
    }
    return Number(hertz.toPrecision(4)) + "\u202fHz";
  }

  function addReader(drawing) {
    var plot = drawing.querySelector("svg.plot");
    if (!plot) { return; }
    var all = points(plot);
    if (!all.length) { return; }
    var data = drawing.dataset;
    var width = plot.viewBox.baseVal.width;
    var height = plot.viewBox.baseVal.height;
    var output = made("output");
    var line = document.createElementNS("http://www.w3.org/2000/svg", "path");
    line.setAttribute("class", "reader");
    line.setAttribute("vector-effect", "non-scaling-stroke");
    drawing.after(output);
    plot.append(line);
    plot.setAttribute("pointer-events", "all");

    function nearest(x) {
      return all.reduce(function (best, point) {
        return Math.abs(point[0] - x) < Math.abs(best[0] - x) ? point : best;
      });
    }

    drawing.addEventListener("pointermove", function (event) {
      var matrix = plot.getScreenCTM();
      if (!matrix) { return; }
      var at = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
      if (at.x < 0 || at.x > width || at.y < 0 || at.y > height) { leave(); return; }
      var point = nearest(at.x);
      var hertz = onAxis(Number(data.xLower), Number(data.xUpper), point[0] / width,
        data.xScale === "logarithmic");
      var value = onAxis(Number(data.yUpper), Number(data.yLower), point[1] / height, false);
      line.setAttribute("d", "M" + point[0] + ",0V" + height);
      output.textContent = frequencyText(hertz) + ": "
        + value.toFixed(2).replace("-", "\u2212") + (data.unit === "\u00b0" ? "" : "\u202f")
        + data.unit + " (read from the drawing)";
    });

    function leave() {
      line.removeAttribute("d");
      output.textContent = "";
    }

    drawing.addEventListener("pointerleave", leave);
  }

  document.querySelectorAll("main table[id]").forEach(function (table) {
    if (!table.tHead || table.tBodies[0].rows.length < 2) { return; }
    if (table.dataset.ordered !== undefined) { return; }
    makeSortable(table);
    makeFilterable(table);
  });
  document.querySelectorAll(".curve > svg").forEach(addReader);
  var header = document.querySelector("header.top");
  if (header) { addSearch(header); }
  tabOnlyWhereItScrolls();
  window.addEventListener("resize", tabOnlyWhereItScrolls);
})();
