// The key beneath the map: what colours, lines and signs mean, with figures and unit.

const SAMPLE = [30, 16];

/** A small picture of a colour, a line or a sign. */
function sample(...shapes) {
  return svg("svg", { class: "sample", viewBox: `0 0 ${SAMPLE[0]} ${SAMPLE[1]}`, width: SAMPLE[0], height: SAMPLE[1], "aria-hidden": "true" }, ...shapes);
}

function box(colour) {
  return svg("rect", { x: 0.5, y: 0.5, width: SAMPLE[0] - 1, height: SAMPLE[1] - 1, fill: colour, stroke: INK });
}

/** Slanted lines as on the map. */
function slants(back) {
  const lines = [];
  for (let x = -16; x < 30; x += 8) lines.push(back ? `M${x} 0l16 16` : `M${x} 16l16 -16`);
  return svg("path", { d: lines.join(""), stroke: INK, "stroke-width": 1.4, fill: "none" });
}

function strokeSample([width, dash, ink = INK]) {
  return sample(svg("line", { x1: 0, x2: 30, y1: 8, y2: 8, stroke: ink, "stroke-width": width, "stroke-dasharray": dash.join(" ") }));
}

function stepSample(over) {
  const size = over ? 20 : 16;
  const points = STEP_SIGN.map(([a, b]) => `${12 + size * a * 0.8},${8 + size * b * 0.8}`).join(" ");
  return sample(svg("polygon", { points, fill: over ? INK : "#fff", stroke: over ? INK : OPEN_INK, "stroke-width": 1.2 }));
}

function entry(picture, text) {
  const item = document.createElement("li");
  item.append(picture, text);
  return item;
}

/** A bar of all the ramp's colours with figures at its ends and middle. */
function rampBar(look, words, signed) {
  const [wide, deep, side] = [260, 34, 16];
  const count = Math.min(look.colours.length, 65);
  const bar = svg("svg", { class: "ramp", viewBox: `0 0 ${wide + 2 * side} ${deep}`, width: wide + 2 * side, height: deep, "aria-hidden": "true" });
  for (let k = 0; k < count; k += 1) {
    const colour = look.colours[Math.round((k / (count - 1)) * (look.colours.length - 1))];
    bar.append(svg("rect", { x: side + (k * wide) / count, y: 0, width: wide / count + 0.6, height: 14, fill: colour }));
  }
  bar.append(svg("rect", { x: side, y: 0.5, width: wide, height: 13, fill: "none", stroke: INK }));
  const places = words.decimalsOf((look.high - look.low) / 4);
  for (const share of [0, 0.25, 0.5, 0.75, 1]) {
    const value = look.low + share * (look.high - look.low);
    const x = side + share * wide;
    bar.append(svg("line", { x1: x, x2: x, y1: 14, y2: 18, stroke: INK }));
    const said = words.figure(value, places);
    const text = signed && parseFloat(said) > 0 ? `+${said}` : said;
    bar.append(svg("text", { x, y: 31, "text-anchor": "middle" }, text));
  }
  return bar;
}

/** What the two ends of a signed ramp mean, by layer. */
const ENDS = { height: ["low", "high"], after: ["grind off", "fill up"] };
const TITLES = {
  height: "Height above or below the best plane, which may slope",
  sigma: "How far a height may be off: its ± (k = 2, about 95 %)",
  after: "Work as planned",
};

/** The key's entries for the layer shown. */
function layerEntries({ layer, look }, looks, words) {
  if (look.kind === "ramp") {
    const signed = layer.kind === "signed";
    const places = words.decimalsOf((look.high - look.low) / 4);
    const [low, high] = [words.figure(look.low, places), words.figure(look.high, places)];
    const item = document.createElement("li");
    item.className = "ramp-row";
    const title = TITLES[layer.name] ?? `Largest gap at each place, straightedge of ${words.reach(layer.edge_mm)}, no limit`;
    item.append(part("span", `${title}, ${words.smallUnit}`));
    item.append(part("span", `from ${low} to ${high} ${words.smallUnit}`, "unspoken"));
    item.append(rampBar(look, words, signed));
    const [left, right] = ENDS[layer.name] ?? [];
    if (left) item.append(part("span", `left: ${left}, right: ${right}`, "soft"));
    return [item];
  }
  const title = layer.kind === "share" ? "Largest gap as a share of its limit" : `Largest gap at each place under ${words.reach(layer.edge_mm)}`;
  const say = layer.kind === "share"
    ? (share) => `${Math.round(share * 100)} %` : (share) => words.size(share * layer.limit_mm);
  const rows = looks.shares.map((share, k) => {
    const next = looks.shares[k + 1];
    const said = next ? `${say(share.least)} to ${say(next.least)}` : `more than ${say(share.least)}`;
    const picture = share.over ? sample(box(share.colour), slants(false)) : sample(box(share.colour));
    return entry(picture, `${said}${share.over ? ", over" : ""}`);
  });
  const head = part("li", `${title}:`, "ramp-row");
  return [head, ...rows];
}

/** The key's entries for what is drawn over the colours. */
function markEntries({ data, lips, scene: { show } }, holes) {
  const found = [];
  const has = (rows, word) => rows.some((row) => row.word === word);
  if (show.worst && data.findings.length) {
    const words = new Set(data.findings.map((finding) => finding.verdict));
    if (words.has("over")) found.push(entry(strokeSample(EDGE_STYLE.over), "worst gap, over: contact to contact"));
    if (words.has("not_decided")) found.push(entry(strokeSample(EDGE_STYLE.not_decided), "gap not decided"));
    if (words.has("within")) found.push(entry(strokeSample(EDGE_STYLE.within), "gap within"));
  }
  if (show.areas && data.areas.some((area) => !area.action.includes("grind"))) {
    found.push(entry(strokeSample([2.4, [], FILL_INK]), "area to fill"));
  }
  if (show.areas && data.areas.some((area) => area.action.includes("grind"))) {
    found.push(entry(strokeSample([2.4, [7, 4], GRIND_INK]), "area to grind"));
  }
  if (show.lips && has(lips, "over")) found.push(entry(stepSample(true), "lip over: the arrow points down"));
  if (show.lips && has(lips, "not_decided")) found.push(entry(stepSample(false), "lip not decided"));
  if (show.joints) {
    const said = { over: "joint over", not_decided: "joint not decided", within: "joint within", not_seen: "joint not measured" };
    for (const [word, text] of Object.entries(said)) {
      if (has(data.joints, word)) found.push(entry(strokeSample(JOINT_STYLE[word]), text));
    }
  }
  if (show.zones && data.zones.length) found.push(entry(strokeSample([1.6, [2, 3], ZONE_INK]), "zone with a rule of its own"));
  if (show.site) found.push(...siteEntries(data.on_site));
  if (data.tape.length) found.push(entry(strokeSample(TAPE_STYLE), "room by tape"));
  if (holes) found.push(entry(sample(box(UNSEEN_GROUND), slants(true)), "not seen"));
  return found;
}
