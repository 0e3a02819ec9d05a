// What a person found on site: small marks with their names, and the room as a tape found it.

const SITE_NEAR_PX = 14;
const NAMES_FROM_PX = 480; // on a narrower map names are shown once it is zoomed in
/** What the key says of each kind; those without are not in the key: they are named where they are. */
const SITE_KINDS = {
  hollow: "sounds hollow (H)", loose: "loose (L)", crack: "crack", movement_joint: "movement joint", door: "door",
  moisture: "moisture reading (M)", note: "note (N)", photo: "photograph (P)",
};
const SITE_STYLE = { crack: [2, []], movement_joint: [2.4, [10, 3, 2, 3]], door: [1.2, []] };
const TAPE_STYLE = [1.2, [7, 5]];

/** Letters in a small box: what is at one place. */
function drawSign(pen, px, py, letters) {
  pen.font = `bold ${LETTERING}`;
  const wide = Math.max(14, pen.measureText(letters).width + 5);
  pen.fillStyle = "#fff";
  pen.fillRect(px - wide / 2, py - 7, wide, 14);
  pen.strokeStyle = INK;
  pen.lineWidth = 1.6;
  pen.strokeRect(px - wide / 2, py - 7, wide, 14);
  pen.fillStyle = INK;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillText(letters, px, py + 0.5);
  return wide / 2;
}

/** Marks that would cover each other on the screen, as one: {px, py, letters, names}. */
function gathered(view, marks) {
  const found = [];
  for (const mark of marks) {
    const place = siteMiddle(mark);
    if (!view.shows(place)) continue;
    const [px, py] = view.toScreen(...place);
    const near = found.find((one) => Math.hypot(one.px - px, one.py - py) < SITE_NEAR_PX);
    const letter = SITE_STYLE[mark.kind] ? "" : mark.kind[0].toUpperCase();
    if (!near) found.push({ px, py, letters: letter, names: [mark.name] });
    else {
      near.letters += near.letters.includes(letter) ? "" : letter;
      near.names.push(mark.name);
    }
  }
  return found;
}

/** Marks with their names beside them; a name that would cover another is left out: it is read by pointing. */
function drawSite(pen, view, marks) {
  for (const mark of marks.filter(({ kind }) => SITE_STYLE[kind])) {
    trace(pen, view, mark.line, false);
    strokeTwice(pen, ...SITE_STYLE[mark.kind], INK, 2);
  }
  const taken = [];
  for (const { px, py, letters, names } of gathered(view, marks)) {
    const side = letters ? drawSign(pen, px, py, letters) : 4;
    const text = names.length > 3 ? `${names.slice(0, 2).join(", ")} and ${names.length - 2} more` : names.join(", ");
    pen.font = LETTERING;
    const box = [px + side, py - 6, px + side + 12 + pen.measureText(text).width, py + 18];
    if (taken.some((other) => box[0] < other[2] && box[2] > other[0] && box[1] < other[3] && box[3] > other[1])) continue;
    if (view.width < NAMES_FROM_PX && view.zoom === 1) continue;
    taken.push(box);
    // A little lower, since the letters of the worst gaps stand a little higher.
    plate(pen, view, text, px + side + 3, py + 6);
  }
}

/** The middle place of a line, half way between its two for a line of two. */
function siteMiddle({ line }) {
  const [a, b] = [line[Math.floor((line.length - 1) / 2)], line[Math.floor(line.length / 2)]];
  return [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
}

function drawTape(pen, view, corners) {
  if (!corners.length) return;
  trace(pen, view, corners, true);
  strokeTwice(pen, ...TAPE_STYLE, INK, 2);
}

/** What was found near a place, in words; "" where nothing was. */
function siteNear(marks, at, reachMm) {
  const near = marks.filter(({ line }) => line.some((end, k) => offLine(at, line[Math.max(0, k - 1)], end) <= reachMm));
  return near.map((mark) => mark.words).join("; ");
}

/** How far a place is from a stretch of a line. */
function offLine(at, start, end) {
  const way = [end[0] - start[0], end[1] - start[1]];
  const length = way[0] ** 2 + way[1] ** 2;
  const along = length > 0 ? ((at[0] - start[0]) * way[0] + (at[1] - start[1]) * way[1]) / length : 0;
  const share = Math.min(1, Math.max(0, along));
  return Math.hypot(at[0] - start[0] - share * way[0], at[1] - start[1] - share * way[1]);
}

/** The key's entries for them. */
function siteEntries(marks) {
  return Object.entries(SITE_KINDS).filter(([kind]) => marks.some((mark) => mark.kind === kind)).map(([kind, text]) => {
    if (SITE_STYLE[kind]) return entry(strokeSample(SITE_STYLE[kind]), text);
    const sign = svg("text", { x: 15, y: 12, "text-anchor": "middle", "font-weight": "bold" }, kind[0].toUpperCase());
    return entry(sample(svg("rect", { x: 8, y: 1, width: 14, height: 14, fill: "#fff", stroke: INK }), sign), text);
  });
}
