"use strict";
// "What if": every sample of the run gets a weight, and probabilities are weighted counts.
//
// Scores z are the normal scores of an input's ranks, so an input keeps the shape of its own distribution.  Under the
// run they are N(0, R).  A shift d and a share kept t make them N(d, T R T), T = diag(t); the weight of a sample is the
// ratio of the two densities.  The effective number of samples is (sum w)^2 / sum w^2 (Kish).  Intervals are Wilson's
// score interval at that number.
(function () {
  const root = document.getElementById("whatif-controls");
  if (!root) return;
  const data = JSON.parse(document.getElementById("whatif-data").textContent);
  const form = root.querySelector("form");
  form.hidden = false;
  const count = data.samples;
  const Z95 = 1.959963984540054;

  // IEEE 754 binary16: sign, five bits of exponent, ten of fraction.
  function half(bits) {
    const exponent = (bits >> 10) & 31, fraction = (bits & 1023) / 1024;
    const size = exponent === 31 ? (fraction ? NaN : Infinity)
      : exponent ? 2 ** (exponent - 15) * (1 + fraction) : 2 ** -14 * fraction;
    return bits & 0x8000 ? -size : size;
  }
  function column({ middle, step, packed }) {
    const bytes = Uint8Array.from(atob(packed), (sign) => sign.charCodeAt(0));
    const view = new DataView(bytes.buffer);
    return Float64Array.from({ length: count }, (_, i) => middle + step * half(view.getUint16(2 * i, true)));
  }

  // Normal distribution function and its inverse: Abramowitz & Stegun 7.1.26 and 26.2.23, good to 5e-4.
  function normalBelow(z) {
    const t = 1 / (1 + 0.3275911 * Math.abs(z) / Math.SQRT2);
    const tail = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))));
    const erf = 1 - tail * Math.exp(-z * z / 2);
    return z < 0 ? (1 - erf) / 2 : (1 + erf) / 2;
  }
  function normalScore(p) {
    if (p > 0.5) return -normalScore(1 - p);
    const t = Math.sqrt(-2 * Math.log(p));
    return -(t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308))));
  }

  function scores(values) {
    const order = Uint32Array.from(values.keys()).sort((a, b) => values[a] - values[b] || a - b);
    const z = new Float64Array(count);
    order.forEach((row, rank) => { z[row] = normalScore((rank + 0.5) / count); });
    return z;
  }

  const inputs = data.inputs.map(function (input) {
    const values = column(input.values);
    return { ...input, z: scores(values), sorted: Float64Array.from(values).sort(), shift: 0, keep: 1 };
  });
  const limits = data.limits.map((limit) => ({ ...limit, values: column(limit.values), now: { low: limit.low, high: limit.high } }));

  function weights() {
    const precision = data.precision;
    const logs = new Float64Array(count);
    const moved = inputs.some((input) => input.shift !== 0 || input.keep !== 1);
    if (!moved) return new Float64Array(count).fill(1);
    let highest = -Infinity;
    const before = new Float64Array(inputs.length), after = new Float64Array(inputs.length);
    for (let i = 0; i < count; i++) {
      inputs.forEach(function (input, j) { before[j] = input.z[i]; after[j] = (input.z[i] - input.shift) / input.keep; });
      let sum = 0;
      for (let j = 0; j < inputs.length; j++) {
        for (let k = 0; k < inputs.length; k++) sum += precision[j][k] * (after[j] * after[k] - before[j] * before[k]);
      }
      logs[i] = -sum / 2;
      highest = Math.max(highest, logs[i]);
    }
    return logs.map((value) => Math.exp(value - highest));
  }

  function weighed(limit, w, effective) {
    let total = 0, good = 0;
    const low = limit.now.low === null ? -Infinity : limit.now.low;
    const high = limit.now.high === null ? Infinity : limit.now.high;
    for (let i = 0; i < count; i++) {
      total += w[i];
      // A sample without an answer is not a number and fails both comparisons.
      if (limit.values[i] >= low && limit.values[i] <= high) good += w[i];
    }
    const p = good / total, z2 = Z95 * Z95 / effective;
    const centre = (p + z2 / 2) / (1 + z2);
    const half = Z95 / (1 + z2) * Math.sqrt(p * (1 - p) / effective + z2 / (4 * effective));
    return { probability: p, low: Math.max(0, centre - half), high: Math.min(1, centre + half) };
  }

  let system = Number(document.getElementById("units").value);
  const shown = (si, scale) => (si - scale.offset) / scale.factor;
  const hidden = (value, scale) => value * scale.factor + scale.offset;

  // Two significant digits of the uncertainty decide the place (JCGM 100, 7.2.6).
  function places(uncertainty) {
    return uncertainty > 0 ? Math.min(8, Math.max(0, 1 - Math.floor(Math.log10(Number(uncertainty.toPrecision(2)))))) : 4;
  }
  function minus(text) { return text.replace("-", "\u2212"); }
  function share(found) {
    const half = Math.max(100 * (found.high - found.low) / 2, 0.01);
    const text = (value) => (100 * value).toFixed(places(half));
    return [text(found.probability) + "\u00a0%", text(found.low) + " to " + text(found.high) + "\u00a0%"];
  }
  function put(cell, found, surely) {
    const [value, range] = share(found);
    const quiet = document.createElement("span");
    quiet.className = "quiet";
    quiet.textContent = surely ? range + "; " + surely : range;
    cell.replaceChildren(value, quiet);
  }
  function wordOf(found, required) {
    return found.low >= required ? "pass" : found.high < required ? "fail" : "undecided";
  }
  // Cars and days are told apart by a run alone: whoever moves anything has an average, and no verdict on it.
  function asRun(limit) {
    const still = inputs.every((input) => input.shift === 0 && input.keep === 1);
    return still && limit.now.low === limit.low && limit.now.high === limit.high;
  }
  function putVerdict(cell, word) {
    const mark = document.createElement("span"), sign = document.createElement("span");
    mark.className = "verdict verdict-" + word;
    sign.className = "sign";
    sign.setAttribute("aria-hidden", "true");
    sign.textContent = { pass: "\u2713", fail: "\u2717", undecided: "?" }[word];
    mark.append(sign, "\u00a0" + word);
    cell.replaceChildren(mark);
    return word;
  }
  const find = (name, position) => root.querySelector(`[data-${name}="${position}"]`);

  function quantile(sorted, p) {
    const place = Math.min(Math.max(p * count - 0.5, 0), count - 1);
    const below = Math.floor(place), above = Math.min(below + 1, count - 1);
    return sorted[below] + (place - below) * (sorted[above] - sorted[below]);
  }
  function describe(input, position) {
    const scale = input.scales[system];
    const at = (z) => shown(quantile(input.sorted, normalBelow(z)), scale);
    const half = Math.abs(at(input.shift + input.keep) - at(input.shift - input.keep)) / 2;
    const digits = places(half);
    const unit = scale.symbol ? (scale.symbol === "\u00b0" ? "" : "\u00a0") + scale.symbol : "";
    find("now", position).textContent = minus(`${at(input.shift).toFixed(digits)} \u00b1 ${half.toFixed(digits)}`) + unit;
    root.querySelector(`output[for="shift-${position}"]`).textContent = minus(input.shift.toFixed(1));
    root.querySelector(`output[for="keep-${position}"]`).textContent = Math.round(100 * input.keep) + "\u00a0%";
  }

  function effectiveOf(w) {
    const sum = w.reduce((a, b) => a + b, 0), squares = w.reduce((a, b) => a + b * b, 0);
    return sum * sum / squares;
  }
  const answerable = () => effectiveOf(weights()) >= data.fewest;

  // A slider goes as far as enough cars are left to answer, and no farther.
  function move(input, name, field, before) {
    const wanted = Number(field.value), step = Number(field.step), scale = name === "keep" ? 100 : 1;
    input[name] = wanted / scale;
    if (answerable()) return false;
    let good = 0, bad = Math.round((wanted - before) / step);
    while (Math.abs(bad - good) > 1) {
      const middle = Math.trunc((good + bad) / 2);
      input[name] = (before + middle * step) / scale;
      if (answerable()) good = middle; else bad = middle;
    }
    const value = Number((before + good * step).toFixed(6));
    input[name] = value / scale;
    field.value = String(value);
    return true;
  }

  function plainNumber(value) { return String(Number(value.toPrecision(6))); }
  // What was changed, as the study file would have it; the words of a source are left to the builder.
  function studyLines() {
    const lines = [];
    for (const input of inputs) {
      if (input.shift === 0 && input.keep === 1) continue;
      const scale = input.scales[0];
      const at = (z) => shown(quantile(input.sorted, normalBelow(z)), scale);
      const half = Math.abs(at(input.shift + input.keep) - at(input.shift - input.keep)) / 2;
      if (input.condition) lines.push(`# in [conditions.${input.condition}]`);
      lines.push(`${input.quantity} = { mean = ${plainNumber(at(input.shift))}, sd = ${plainNumber(half)}, ` +
        `unit = "${scale.unit}", source = "what if" }`);
    }
    for (const limit of limits) {
      for (const [side, key] of [["low", "at_least"], ["high", "at_most"]]) {
        if (limit.now[side] === limit[side]) continue;
        const scale = limit.scales[0];
        lines.push(`# limit ${JSON.stringify(limit.name)}`,
          `${key} = "${plainNumber(shown(limit.now[side], scale))} ${scale.unit}"`.replace(/ (1)?"$/, '"'));
      }
    }
    root.querySelector("#study-lines").value = lines.join("\n");
  }

  function refresh(stopped = false) {
    inputs.forEach(describe);
    studyLines();
    const w = weights();
    const effective = effectiveOf(w);
    root.querySelector("#effective").textContent = `${Math.round(effective)} of ${count}`;
    const refusal = root.querySelector("#refusal");
    refusal.hidden = !stopped;
    refusal.textContent = stopped
      ? `This is as far as the page can answer: ${Math.round(effective)} cars of the run are like that, and ` +
        `${data.fewest} are needed. To go farther, change the study and run it again.`
      : "";
    const verdicts = { pass: 0, fail: 0, undecided: 0 };
    limits.forEach(function (limit, position) {
      put(find("run", position), limit.run, limit.surely);
      const cell = find("here", position), verdict = find("verdict", position);
      const found = weighed(limit, w, effective);
      const same = limit.surely && asRun(limit);
      put(cell, found, same ? limit.surely : limit.surely && "over cars and days together: only a run tells how sure");
      const word = same ? limit.verdict : limit.surely ? "undecided" : wordOf(found, limit.required);
      verdicts[putVerdict(verdict, word)] += 1;
    });
    const words = `With your changes: ${verdicts.pass} pass, ${verdicts.fail} fail, ${verdicts.undecided} undecided.`;
    return stopped ? "As far as the page can answer. " + words : words;
  }

  function fillBounds() {
    limits.forEach(function (limit, position) {
      const scale = limit.scales[system];
      for (const side of ["low", "high"]) {
        const field = root.querySelector(`[data-limit="${position}"][data-side="${side}"]`);
        if (!field) continue;
        const step = Math.pow(10, Math.floor(Math.log10(Math.abs(limit.spread / scale.factor) || 1)) - 1);
        field.step = "any";
        field.dataset.step = String(step);
        field.value = String(Number(shown(limit.now[side], scale).toPrecision(6)));
      }
      root.querySelectorAll(`[data-symbol="${position}"]`).forEach((symbol) => { symbol.textContent = scale.symbol; });
    });
  }

  let timer = 0;
  function say(words) {
    clearTimeout(timer);
    timer = setTimeout(() => { document.getElementById("spoken").textContent = words; }, 600);
  }

  form.addEventListener("input", function (event) {
    const field = event.target;
    let stopped = false;
    for (const name of ["shift", "keep"]) {
      if (field.dataset[name] === undefined) continue;
      const input = inputs[Number(field.dataset[name])];
      stopped = move(input, name, field, Math.round((name === "keep" ? 100 : 10) * input[name]) / (name === "keep" ? 1 : 10));
    }
    if (field.dataset.limit !== undefined) {
      const limit = limits[Number(field.dataset.limit)];
      const value = Number(field.value);
      if (field.value.trim() === "" || !Number.isFinite(value)) return;
      limit.now[field.dataset.side] = hidden(value, limit.scales[system]);
    }
    say(refresh(stopped));
  });
  // Arrow keys move a limit by about a tenth of its spread, rounded to a power of ten.
  form.addEventListener("keydown", function (event) {
    const field = event.target;
    if (field.dataset.limit === undefined || !["ArrowUp", "ArrowDown"].includes(event.key)) return;
    event.preventDefault();
    const step = Number(field.dataset.step), up = event.key === "ArrowUp" ? 1 : -1;
    field.value = String(Number((Number(field.value) + up * step).toPrecision(12)));
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("reset", function () {
    for (const input of inputs) { input.shift = 0; input.keep = 1; }
    for (const limit of limits) limit.now = { low: limit.low, high: limit.high };
    setTimeout(function () { fillBounds(); say(refresh()); }, 0);
  });
  document.addEventListener("units", function (event) { system = event.detail; fillBounds(); refresh(); });
  fillBounds();
  refresh();
})();
