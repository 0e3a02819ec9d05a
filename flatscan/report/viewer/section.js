// The section under the straightedge: the floor along the line, heights drawn taller than they are.

const SVG = document.getElementById("section").namespaceURI;
const SECTION_DEEP = { wide: 216, narrow: 190 };
const SECTION_SPACE = { left: 44, right: 14, top: 30, bottom: 30 };
const LEAST_RANGE_MM = 3; // a flat floor looks flat

function svg(name, attributes, ...children) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, String(value));
  element.append(...children);
  return element;
}

/** Runs of stations with a height: [[first, last], ...]. */
function runsOf(heights) {
  const runs = [];
  heights.forEach((height, k) => {
    if (height !== height) return;
    const last = runs[runs.length - 1];
    if (last && last[1] === k - 1) last[1] = k;
    else runs.push([k, k]);
  });
  return runs;
}

/** The height of the straightedge at a distance: the chord of its contacts, drawn on over its whole length. */
function edgeHeight(laid, atMm) {
  const [first, , second] = laid.stations;
  const [z1, z2] = [laid.heights[first], laid.heights[second]];
  const span = laid.atMm[second] - laid.atMm[first];
  return span > 0 ? z1 + ((z2 - z1) * (atMm - laid.atMm[first])) / span : z1;
}

/** Where the bar lies along the line: as long as the edge, over its contacts, no further than the line goes. */
function barOf(laid, edgeMm) {
  const length = laid.atMm[laid.atMm.length - 1];
  if (edgeMm === null || edgeMm >= length) return [0, length];
  const [first, , second] = laid.stations;
  const middle = (laid.atMm[first] + laid.atMm[second]) / 2;
  const start = Math.min(Math.max(0, middle - edgeMm / 2), length - edgeMm);
  return [start, start + edgeMm];
}

/**
 * Draws into an <svg>. ``laid``: what layEdge gave; ``after``: heights as planned at the same stations, null: no plan;
 * ``edgeMm``: length of the edge, null: as the line.
 */
function drawSection(picture, { laid, after, edgeMm, words, gapText }) {
  const wide = Math.max(260, picture.clientWidth || picture.parentElement.clientWidth);
  const deep = wide < 480 ? SECTION_DEEP.narrow : SECTION_DEEP.wide;
  picture.setAttribute("viewBox", `0 0 ${wide} ${deep}`);
  picture.setAttribute("height", String(deep));
  picture.replaceChildren();
  const runs = runsOf(laid.heights);
  if (!runs.length) {
    picture.append(svg("text", { x: wide / 2, y: deep / 2, "text-anchor": "middle" }, "No floor was seen under this line"));
    return;
  }
  const length = laid.atMm[laid.atMm.length - 1];
  const bar = laid.gapMm === null ? null : barOf(laid, edgeMm);
  const heights = laid.heights.concat(after ?? [], bar ? bar.map((at) => edgeHeight(laid, at)) : []).filter((z) => z === z);
  const scale = scaleOf(heights, length, wide, deep);
  drawFloor(picture, laid, runs, scale, deep);
  if (after) drawAfter(picture, laid, after, scale);
  drawRulers(picture, scale, length, wide, deep, words);
  if (bar) drawBar(picture, laid, bar, scale, wide, gapText);
}

/** Pixels of a distance and of a height. */
function scaleOf(heights, length, wide, deep) {
  let [low, high] = [Math.min(...heights), Math.max(...heights)];
  const spare = LEAST_RANGE_MM - (high - low);
  if (spare > 0) [low, high] = [low - spare / 2, high + spare / 2];
  const { left, right, top, bottom } = SECTION_SPACE;
  const perMm = (wide - left - right) / length;
  const perHeightMm = (deep - top - bottom) / (high - low);
  return {
    x: (at) => left + at * perMm,
    z: (height) => top + (high - height) * perHeightMm,
    tall: perHeightMm / perMm,
    perMm,
    perHeightMm,
  };
}

function pathOf(places) {
  return places.map(([x, y], i) => `${i ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join("");
}

function drawFloor(picture, laid, runs, scale, deep) {
  const base = deep - SECTION_SPACE.bottom + 6;
  const at = (k) => scale.x(laid.atMm[k]);
  for (const [first, last] of runs) {
    const line = [];
    for (let k = first; k <= last; k += 1) line.push([at(k), scale.z(laid.heights[k])]);
    picture.append(svg("path", { class: "ground", d: `${pathOf(line)}L${at(last)} ${base}L${at(first)} ${base}Z` }));
    picture.append(svg("path", { class: "surface", d: pathOf(line) }));
  }
  for (let i = 0; i + 1 < runs.length; i += 1) {
    const [x, to] = [at(runs[i][1]), at(runs[i + 1][0])];
    picture.append(svg("rect", { class: "unseen", x, y: SECTION_SPACE.top, width: to - x, height: base - SECTION_SPACE.top }));
    if (to - x > 62) picture.append(svg("text", { x: (x + to) / 2, y: base - 6, "text-anchor": "middle" }, "not seen"));
  }
}

function drawAfter(picture, laid, after, scale) {
  for (const [first, last] of runsOf(after)) {
    const line = [];
    const floor = [];
    for (let k = last; k >= first; k -= 1) floor.push([scale.x(laid.atMm[k]), scale.z(laid.heights[k])]);
    for (let k = first; k <= last; k += 1) line.push([scale.x(laid.atMm[k]), scale.z(after[k])]);
    picture.append(svg("path", { class: "work", d: `${pathOf(line)}${pathOf(floor).replace("M", "L")}Z` }));
    picture.append(svg("path", { class: "planned", d: pathOf(line) }));
  }
}

/** Distances beneath, and an upright bar of a round height at the left. */
function drawRulers(picture, scale, length, wide, deep, words) {
  const y = deep - SECTION_SPACE.bottom + 6;
  const step = words.gridMm(scale.perMm, 64);
  for (let at = 0; at <= length + 1e-6; at += step) {
    const x = scale.x(at);
    picture.append(svg("line", { class: "ruler", x1: x, x2: x, y1: y, y2: y + 5 }));
    picture.append(svg("text", { x, y: y + 17, "text-anchor": "middle" }, words.gridFigure(at)));
  }
  const rounds = words.imperial ? [1 / 32, 1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2].map((n) => n * MM_PER_IN) : [0.5, 1, 2, 5, 10, 20, 50];
  const room = deep - SECTION_SPACE.top - SECTION_SPACE.bottom;
  const tall = rounds.filter((mm) => mm * scale.perHeightMm <= room * 0.6).pop() ?? rounds[0];
  const [low, high] = [y - 8, y - 8 - tall * scale.perHeightMm];
  picture.append(svg("path", { class: "ruler", d: `M24 ${low}H32M24 ${high}H32M28 ${low}V${high}` }));
  const said = words.imperial ? words.fraction(tall) : `${tall} mm`;
  picture.append(svg("text", { class: "upright", x: 16, y: (low + high) / 2, transform: `rotate(-90 16 ${(low + high) / 2})`, "text-anchor": "middle" }, said));
  picture.append(svg("text", { class: "note", x: wide / 2, y: 14, "text-anchor": "middle" }, `heights drawn ${Number(scale.tall.toPrecision(2))} times as tall`));
  picture.append(svg("text", { class: "end", x: scale.x(0), y: 14, "text-anchor": "middle" }, "P"));
  picture.append(svg("text", { class: "end", x: scale.x(length), y: 14, "text-anchor": "middle" }, "Q"));
}

function drawBar(picture, laid, bar, scale, wide, gapText) {
  const ends = bar.map((at) => [scale.x(at), scale.z(edgeHeight(laid, at))]);
  picture.append(svg("path", { class: "bar-side", d: pathOf(ends) }), svg("path", { class: "bar", d: pathOf(ends) }));
  const [first, at, second] = laid.stations;
  const place = (k) => [scale.x(laid.atMm[k]), scale.z(laid.heights[k])];
  for (const k of new Set([first, second])) {
    const [cx, cy] = place(k);
    picture.append(svg("circle", { class: "contact", cx, cy, r: 5 }));
  }
  if (laid.gapMm <= 0) return;
  const [x, low] = place(at);
  const high = scale.z(edgeHeight(laid, laid.atMm[at]));
  picture.append(svg("path", { class: "gap", d: `M${x} ${low}V${high}` }));
  picture.append(svg("path", { class: "gap-tip", d: `M${x} ${low}l-5 -8h10ZM${x} ${high}l-5 8h10Z` }));
  const beside = x < wide - 90 ? [x + 9, "start"] : [x - 9, "end"];
  picture.append(svg("text", { class: "gap-text", x: beside[0], y: Math.min((low + high) / 2 + 4, high + 24), "text-anchor": beside[1] }, gapText));
}
