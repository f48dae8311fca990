"use strict";
// Charts with tooltips, the switch of units, and tables that sort.  Without this script the page shows everything
// as still pictures and in the units it was made with.
(function () {
  // Packed, for it is large; where a browser cannot unpack it, pictures stay still.
  async function unpacked(id) {
    const packed = Uint8Array.from(atob(document.getElementById(id).textContent), (sign) => sign.charCodeAt(0));
    const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Response(stream).text();
  }
  const charts = unpacked("chart-data").then(JSON.parse).catch(() => ({}));
  // The library is read when the first chart is near: the page's policy knows its fingerprint.
  let library;
  function chartLibrary() {
    library ??= unpacked("chart-library").then(function (text) {
      const script = document.createElement("script");
      script.textContent = text;
      document.head.append(script);
      return window.squatlineCharts;
    });
    return library;
  }
  const tip = document.getElementById("tip");
  const spoken = document.getElementById("spoken");
  let system = Number(document.getElementById("units").value);

  function showTip(handler, event, item, value) {
    if (value === null || value === undefined || value === "") { tip.hidden = true; return; }
    tip.replaceChildren();
    for (const [name, text] of Object.entries(value)) {
      const row = document.createElement("div");
      for (const word of [name, text]) {
        const cell = document.createElement("span");
        cell.textContent = String(word);
        row.append(cell);
      }
      tip.append(row);
    }
    tip.hidden = false;
    const wide = tip.offsetWidth, high = tip.offsetHeight;
    tip.style.left = Math.max(4, Math.min(event.clientX + 14, innerWidth - wide - 4)) + "px";
    tip.style.top = Math.max(4, event.clientY - high - 10) + "px";
  }

  // On a phone a chart of named rows is laid out anew in the width there is, its letters of full size; words beside
  // the rows, which stand in the text too, have no room.
  function fitted(chart, picture) {
    const { x, y } = chart.layer?.[0].encoding ?? {};
    const rows = x?.type === "quantitative" && y?.type === "nominal";
    const room = picture.closest("figure.wide .scroll")?.clientWidth ?? Infinity;
    if (!rows || room >= 512) return chart;
    picture.classList.add("fitted");
    // On the narrowest it is drawn a little wider, and made smaller by its style.
    const width = Math.max(room, 352), config = structuredClone(chart.config);
    config.axis.labelLimit = width / 2;
    config.legend.columns = 1;
    config.axisX = { titleAnchor: "end" };
    const inside = ({ mark, encoding }) => (mark.type ?? mark) !== "text" || encoding.x?.datum !== undefined;
    const layer = structuredClone(chart.layer.filter(inside));
    for (const { axis } of layer.map(({ encoding }) => encoding.y ?? {})) if (axis) axis.labelExpr = "split(datum.label, '\\n')";
    const height = Math.max(chart.height, 26 * (y.sort?.length ?? 0));
    return { ...chart, layer, width, height, config, autosize: { type: "fit-x", contains: "padding" } };
  }
  const drawn = new Map();
  async function draw(picture) {
    const choices = (await charts)[picture.dataset.chart];
    if (!choices) return;
    const wanted = choices.order[system];
    if (drawn.get(picture) === wanted) return;
    drawn.set(picture, wanted);
    const fresh = document.createElement("div");
    try {
      // The interpreter keeps to the page's policy, which allows no evaluation of text as a program.
      const embed = await chartLibrary();
      await embed(fresh, fitted(choices.specifications[wanted], picture), {
        mode: "vega-lite", ast: true, actions: false, renderer: "svg", defaultStyle: false, tooltip: showTip,
      });
    } catch (problem) {
      console.error(problem);
      return;
    }
    for (const name of ["role", "aria-label", "aria-roledescription"]) fresh.removeAttribute(name);
    picture.replaceChildren(fresh);
    picture.classList.add("live");
  }

  const pictures = [...document.querySelectorAll("[data-chart]")];
  document.fonts.ready.then(function () {
    if (!("IntersectionObserver" in window)) { pictures.forEach(draw); return; }
    const watch = new IntersectionObserver(function (entries) {
      for (const entry of entries) if (entry.isIntersecting) { watch.unobserve(entry.target); draw(entry.target); }
    }, { rootMargin: "400px" });
    pictures.forEach((picture) => watch.observe(picture));
  });

  function switchUnits() {
    system = Number(document.getElementById("units").value);
    for (const amount of document.querySelectorAll(".amount")) {
      // Only what differs is written out: from the first system, and in it from the text shown.
      amount.dataset.u0 ??= amount.textContent;
      amount.textContent = amount.dataset["u" + system] ?? amount.dataset.u0;
    }
    for (const drawing of document.querySelectorAll("[data-system]")) {
      drawing.hidden = !drawing.dataset.system.split(" ").includes(String(system));
    }
    pictures.forEach(draw);
    document.dispatchEvent(new CustomEvent("units", { detail: system }));
    spoken.textContent = "Units: " + document.getElementById("units").selectedOptions[0].textContent;
  }
  document.getElementById("units").addEventListener("change", switchUnits);

  function order(cell) {
    const given = cell.dataset.order;
    if (given === undefined) return cell.textContent.trim().toLowerCase();
    const number = Number(given);
    return given.trim() !== "" && Number.isFinite(number) ? number : given.toLowerCase();
  }
  function compare(a, b) {
    if (typeof a === "number" && typeof b === "number") return a - b;
    return String(a).localeCompare(String(b), "en");
  }
  function sort(table, position) {
    const heads = [...table.tHead.rows[0].cells];
    const up = heads[position].getAttribute("aria-sort") !== "ascending";
    heads.forEach((head) => head.removeAttribute("aria-sort"));
    heads[position].setAttribute("aria-sort", up ? "ascending" : "descending");
    const rows = [...table.tBodies[0].rows];
    rows.sort((a, b) => (up ? 1 : -1) * compare(order(a.cells[position]), order(b.cells[position])));
    table.tBodies[0].append(...rows);
    spoken.textContent = "Sorted by " + heads[position].textContent + (up ? ", ascending" : ", descending");
  }
  for (const table of document.querySelectorAll("table.sortable")) {
    [...table.tHead.rows[0].cells].forEach(function (head, position) {
      // Numbers of different things have no order.
      if (head.dataset.mixed !== undefined) return;
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = head.textContent;
      button.addEventListener("click", () => sort(table, position));
      head.replaceChildren(button);
    });
  }
  // Long tables can be searched.
  for (const table of document.querySelectorAll("main table.sortable")) {
    if (table.tBodies[0].rows.length < 12) continue;
    const label = document.createElement("label"), field = document.createElement("input");
    label.className = "find";
    field.type = "search";
    label.append("Find in this table ", field);
    field.addEventListener("input", function () {
      const wanted = field.value.trim().toLowerCase();
      let found = 0;
      for (const row of table.tBodies[0].rows) {
        row.hidden = !row.textContent.toLowerCase().includes(wanted);
        found += row.hidden ? 0 : 1;
      }
      spoken.textContent = found + " rows";
    });
    table.closest(".scroll").before(label);
  }
  for (const table of document.querySelectorAll("main table.sortable")) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "save";
    button.textContent = "Save this table as CSV";
    button.addEventListener("click", function () {
      const link = document.createElement("a");
      link.href = URL.createObjectURL(new Blob(["\ufeff" + window.squatlineCsv(table)], { type: "text/csv" }));
      link.download = (table.dataset.name || "table") + ".csv";
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    });
    table.after(button);
  }
  // A table or chart too wide for its place scrolls; by keyboard it can only do so with the focus on it.
  const wide = new ResizeObserver(function (entries) {
    for (const { target } of entries) {
      const scrolls = target.scrollWidth > target.clientWidth + 1;
      const chart = target.querySelector(".picture") && target.closest("figure").querySelector(".figure-title");
      const named = chart || target.querySelector("caption");
      const words = (chart ? "Chart: " : "Table: ") + (named?.textContent ?? "").slice(0, 80);
      for (const [name, value] of [["tabindex", "0"], ["role", "group"], ["aria-label", words]]) {
        if (scrolls) target.setAttribute(name, value);
        else target.removeAttribute(name);
      }
    }
  });
  document.querySelectorAll(".scroll").forEach((place) => wide.observe(place));

  // The contents are folded where they would fill the screen, and mark the section that is read.
  const contents = document.querySelector(".contents details");
  if (matchMedia("(max-width: 52rem)").matches) contents.open = false;
  const links = new Map([...contents.querySelectorAll("a")].map((link) => [link.hash.slice(1), link]));
  const read = new IntersectionObserver(function (entries) {
    for (const { target, isIntersecting } of entries) {
      if (isIntersecting) links.get(target.id)?.setAttribute("aria-current", "true");
      else links.get(target.id)?.removeAttribute("aria-current");
    }
  }, { rootMargin: "-20% 0px -75% 0px" });
  document.querySelectorAll("main > section").forEach((section) => read.observe(section));

  document.addEventListener("keydown", (event) => { if (event.key === "Escape") tip.hidden = true; });
})();
