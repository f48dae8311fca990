"use strict";
// Tables as CSV: one number a column, its unit in the head, so that a program reads them back as they stand.
window.squatlineCsv = (function () {
  const NUMBER = "[+-]?\\d+(?:\\.\\d+)?(?:e[+-]?\\d+)?";
  const AMOUNT = new RegExp(`^(?:in )?(${NUMBER})(?: (±|to) (${NUMBER}))? ?([^\\d\\s].*)?$`);
  const BOUND = new RegExp(`^(at least|at most) (${NUMBER}) ?([^\\d\\s].*)?$`);
  const BETWEEN = new RegExp(`^between (${NUMBER})[^\\d\\s]* and (${NUMBER}) ?([^\\d\\s].*)?$`);
  const PARTS = { "": [""], "±": ["", " ±"], to: [" from", " to"] };
  const EMPTY = ["", "no answer", "none that shows"];

  // Signs and spaces as a program writes them; thin spaces stand between thousands only.
  function plain(text) {
    return text.replace(/\u202f/g, "").replace(/\u2212/g, "-").replace(/\s+/g, " ").trim();
  }
  function read(text) {
    const bound = BOUND.exec(text), both = BETWEEN.exec(text);
    if (both) return { kind: "to", numbers: [both[1], both[2]], unit: both[3] || "" };
    if (bound) return { kind: "to", numbers: bound[1] === "at least" ? [bound[2], ""] : ["", bound[2]], unit: bound[3] || "" };
    const found = AMOUNT.exec(text);
    return found && { kind: found[2] || "", numbers: found[3] === undefined ? [found[1]] : [found[1], found[3]], unit: found[4] || "" };
  }
  // What stands small below a value is a piece, and so a column, of its own.
  function pieces(cell) {
    const main = cell.cloneNode(true);
    const small = [...main.querySelectorAll(".quiet")].map(function (part) { part.remove(); return plain(part.textContent); });
    main.querySelectorAll(".self").forEach((part) => part.remove());
    const first = plain(main.textContent);
    // A value in brackets behind another is set apart too.
    const both = /^(.*\S) \(([^()]*\d[^()]*)\)$/.exec(first);
    return both && read(both[1]) ? [both[1], both[2], ...small] : [first, ...small];
  }
  function column(title, texts) {
    const amounts = texts.map((text) => (EMPTY.includes(text) ? null : read(text)));
    const known = amounts.filter((one) => one);
    const kinds = new Set(known.map((one) => one.kind));
    const readable = known.length && kinds.size === 1 && texts.every((text, i) => amounts[i] || EMPTY.includes(text));
    if (!readable) return [[title, ...texts]];
    const units = new Set(known.map((one) => one.unit));
    const unit = units.size === 1 ? [...units][0] : "";
    const columns = PARTS[[...kinds][0]].map((part, i) => [
      title + part + (unit ? ` [${unit}]` : ""), ...amounts.map((one) => (one ? one.numbers[i] : "")),
    ]);
    if (units.size > 1) columns.push([title + " unit", ...amounts.map((one) => (one ? one.unit : ""))]);
    return columns;
  }
  // A text that a spreadsheet would take for a formula is marked as text by an apostrophe.
  function quoted(text) {
    const number = new RegExp(`^${NUMBER}$`).test(text);
    const harmless = !number && /^[=+\-@\t\r]/.test(text) ? "'" + text : text;
    return '"' + harmless.replace(/"/g, '""') + '"';
  }

  return function (table) {
    const rows = [...table.tBodies[0].rows].map((row) => [...row.cells].map(pieces));
    const columns = [...table.tHead.rows[0].cells].flatMap(function (head, place) {
      const most = Math.max(1, ...rows.map((row) => row[place].length));
      return Array.from({ length: most }, (_, i) => column(
        plain(head.textContent) + (i ? `, ${i + 1}` : ""), rows.map((row) => row[place][i] || ""),
      )).flat();
    });
    const lines = Array.from({ length: rows.length + 1 }, (_, i) => columns.map((one) => quoted(one[i])).join(","));
    return lines.join("\r\n") + "\r\n";
  };
})();
