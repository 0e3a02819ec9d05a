// What is drawn over the floor's colours: walls, grid, joints, lips, areas, zones, doors, named places.

const INK = "#1c1c1c";
const SOFT_INK = "#5a5a5a";
const OPEN_INK = "#6a3d8a";
const CALM_INK = "#8a8a8a";
const FILL_INK = "#0b5d3b";
const GRIND_INK = "#7b2d8b";
const ZONE_INK = "#7a4a00";
const LETTERING = '12px "Segoe UI", "Helvetica Neue", Helvetica, Arial, "Liberation Sans", sans-serif';

/** Joints by the word for width and depth: line width, dashes, ink. */
const JOINT_STYLE = {
  over: [3, [], INK],
  not_decided: [1.8, [6, 3], OPEN_INK],
  within: [1, [], CALM_INK],
  not_seen: [1.2, [1.5, 3.5], SOFT_INK],
};
/** Straightedges by their verdict. */
const EDGE_STYLE = { over: [4, []], not_decided: [3, [9, 5]], within: [1.5, []], not_seen: [1.5, [2, 3]] };
/** A bar on the high side and an arrow to the low side, which is to the right. */
const STEP_SIGN = [
  [-0.12, -0.5], [0.1, -0.5], [0.1, -0.1], [0.38, -0.1], [0.38, -0.32], [0.84, 0],
  [0.38, 0.32], [0.38, 0.1], [0.1, 0.1], [0.1, 0.5], [-0.12, 0.5],
];

const MANY_LIPS = 40;

/** Puts floor places on the pen's path. */
function trace(pen, view, places, closed) {
  pen.beginPath();
  places.forEach(([x, y], i) => {
    const [px, py] = view.toScreen(x, y);
    if (i === 0) pen.moveTo(px, py);
    else pen.lineTo(px, py);
  });
  if (closed) pen.closePath();
}

/** A line with a white edge, so that it is seen on any colour. */
function strokeTwice(pen, width, dash, ink, edge = 2) {
  pen.setLineDash([]);
  pen.lineCap = "butt";
  if (edge > 0) {
    pen.strokeStyle = "rgba(255,255,255,0.85)";
    pen.lineWidth = width + edge;
    pen.stroke();
  }
  pen.setLineDash(dash);
  pen.strokeStyle = ink;
  pen.lineWidth = width;
  pen.stroke();
  pen.setLineDash([]);
}

/** A text on a white plate, its left middle at the pixel; moved in from the border. */
function plate(pen, view, text, px, py, ink = INK, bold = false) {
  pen.font = bold ? `bold ${LETTERING}` : LETTERING;
  const wide = pen.measureText(text).width + 8;
  const left = Math.min(Math.max(2, px), view.width - wide - 2);
  const middle = Math.min(Math.max(11, py), view.height - 11);
  pen.fillStyle = "rgba(255,255,255,0.92)";
  pen.fillRect(left, middle - 9, wide, 18);
  pen.strokeStyle = ink;
  pen.lineWidth = 1;
  pen.strokeRect(left, middle - 9, wide, 18);
  pen.fillStyle = ink;
  pen.textAlign = "left";
  pen.textBaseline = "middle";
  pen.fillText(text, left + 4, middle + 0.5);
}

function polygon(pen, points) {
  pen.beginPath();
  points.forEach(([x, y], i) => (i ? pen.lineTo(x, y) : pen.moveTo(x, y)));
  pen.closePath();
}

function drawWalls(pen, view, data) {
  for (const ring of data.outline) {
    trace(pen, view, ring, true);
    strokeTwice(pen, 3, [], INK, 0);
  }
  for (const door of data.doors) {
    trace(pen, view, door, false);
    strokeTwice(pen, 6, [], "#fff", 0);
    strokeTwice(pen, 1.2, [], INK, 0);
  }
}

/** Grid lines with the tapes' figures along the left and the bottom. */
function drawGrid(pen, view, words) {
  const step = words.gridMm(view.scale, 84);
  const [left, top, right, bottom] = [0, 0, view.width, view.height];
  const [low, high] = [view.toFloor(left, bottom), view.toFloor(right, top)];
  const inRoom = (value, axis) => value >= view.box[axis] - 1 && value <= view.box[axis + 2] + 1;
  pen.font = LETTERING;
  pen.lineWidth = 1;
  for (const axis of [0, 1]) {
    for (let k = Math.ceil(low[axis] / step); k * step <= high[axis]; k += 1) {
      if (!inRoom(k * step, axis)) continue;
      const [px, py] = view.toScreen(k * step, k * step);
      const from = view.toScreen(axis ? view.box[0] : k * step, axis ? k * step : view.box[1]);
      const to = view.toScreen(axis ? view.box[2] : k * step, axis ? k * step : view.box[3]);
      pen.strokeStyle = "rgba(60,60,60,0.28)";
      pen.beginPath();
      pen.moveTo(...from);
      pen.lineTo(...to);
      pen.stroke();
      if (k === 0) continue;
      const figure = words.gridFigure(k * step);
      const wide = pen.measureText(figure).width + 6;
      const at = axis ? [Math.max(2, view.toScreen(view.box[0], 0)[0] - wide - 4), py - 8]
        : [px - wide / 2, Math.min(bottom - 18, view.toScreen(0, view.box[1])[1] + 6)];
      pen.fillStyle = "rgba(255,255,255,0.85)";
      pen.fillRect(...at, wide, 16);
      pen.fillStyle = INK;
      pen.textAlign = "left";
      pen.textBaseline = "middle";
      pen.fillText(figure, at[0] + 3, at[1] + 8.5);
    }
  }
}

/** Where both tapes start. */
function drawCorner(pen, view) {
  const [x, y] = view.toScreen(0, 0);
  pen.beginPath();
  pen.arc(x, y, 9, 0, 2 * Math.PI);
  pen.fillStyle = INK;
  pen.fill();
  pen.fillStyle = "#fff";
  pen.font = `bold ${LETTERING}`;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillText("0", x, y + 0.5);
}

function drawJoints(pen, view, joints) {
  const rank = ["not_seen", "within", "not_decided", "over"];
  for (const word of rank) {
    for (const joint of joints) {
      if ((joint.word ?? "within") !== word) continue;
      const [width, dash, ink] = JOINT_STYLE[word];
      trace(pen, view, joint.line, false);
      strokeTwice(pen, width, dash, ink, word === "over" ? 2 : 0);
    }
  }
}

/** Each lip that is over or not decided, as a step that points down to the lower side. */
function drawLips(pen, view, lips) {
  // Many on a small map hide each other: they grow as the map does.
  const whole = lips.length > MANY_LIPS ? 0.65 : 1;
  const grown = Math.min(1.2, whole * Math.sqrt(view.zoom));
  for (const lip of [...lips].reverse()) {
    const over = lip.word === "over";
    const size = (over ? 22 : 17) * grown;
    const [px, py] = view.toScreen(...lip.at);
    const [c, s] = [Math.cos(lip.low_rad), -Math.sin(lip.low_rad)];
    polygon(pen, STEP_SIGN.map(([a, b]) => [px + size * (a * c - b * s), py + size * (a * s + b * c)]));
    pen.fillStyle = over ? INK : "#fff";
    pen.fill();
    pen.strokeStyle = over ? "#fff" : OPEN_INK;
    pen.lineWidth = 1.3;
    pen.stroke();
  }
}

function drawAreas(pen, view, areas) {
  for (const area of areas) {
    const grind = area.action.includes("grind");
    trace(pen, view, area.ring, true);
    strokeTwice(pen, 2.2, grind ? [7, 4] : [], grind ? GRIND_INK : FILL_INK, 2.4);
  }
  for (const area of areas) {
    const grind = area.action.includes("grind");
    const seen = area.ring.filter((place) => view.shows(place));
    if (!seen.length) continue;
    const top = seen.reduce((best, place) => (place[1] > best[1] ? place : best));
    const [px, py] = view.toScreen(...top);
    plate(pen, view, `${grind ? "grind" : "fill"} ${area.number}`, px - 18, py - 12, grind ? GRIND_INK : FILL_INK, true);
  }
}

function drawZones(pen, view, zones) {
  for (const zone of zones) {
    trace(pen, view, zone.ring, true);
    strokeTwice(pen, 1.4, [2, 3], ZONE_INK, 2);
    const middle = zone.ring.reduce((sum, p) => [sum[0] + p[0] / zone.ring.length, sum[1] + p[1] / zone.ring.length], [0, 0]);
    if (!view.shows(middle)) continue;
    const [px, py] = view.toScreen(...middle);
    const text = zone.name.length > 24 ? `${zone.name.slice(0, 23)}…` : zone.name;
    pen.font = LETTERING;
    plate(pen, view, text, px - pen.measureText(text).width / 2 - 4, py, ZONE_INK);
  }
}

/** The straightedge of each worst gap with its letter at the deepest place. */
function drawWorst(pen, view, findings) {
  for (const finding of [...findings].reverse()) {
    if (!finding.at) continue;
    if (finding.contacts) {
      const [width, dash] = EDGE_STYLE[finding.verdict] ?? EDGE_STYLE.not_seen;
      trace(pen, view, finding.contacts, false);
      strokeTwice(pen, width * 0.75, dash, INK);
      finding.contacts.forEach((place) => dot(pen, view, place, 3.5));
    }
    if (!view.shows(finding.at)) continue;
    const [px, py] = view.toScreen(...finding.at);
    plate(pen, view, finding.label, px + 8, py - 14, INK, finding.verdict === "over");
    polygon(pen, [[px - 6, py - 5], [px + 6, py - 5], [px, py + 6]]);
    pen.fillStyle = "#fff";
    pen.fill();
    pen.strokeStyle = INK;
    pen.lineWidth = 1.5;
    pen.stroke();
  }
}

function dot(pen, view, place, radius) {
  const [px, py] = view.toScreen(...place);
  pen.beginPath();
  pen.arc(px, py, radius, 0, 2 * Math.PI);
  pen.fillStyle = INK;
  pen.fill();
  pen.strokeStyle = "#fff";
  pen.lineWidth = 1.2;
  pen.stroke();
}
