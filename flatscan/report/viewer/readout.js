// What is said in words: of the place pointed at, and of the straightedge as it lies.

const SPEAK_AFTER_MS = 600;

function part(name, text, className = "") {
  const element = document.createElement(name);
  element.textContent = text;
  if (className) element.className = className;
  return element;
}

/** Tells a screen reader, once things have come to rest. */
function speaker() {
  const element = document.getElementById("said");
  let waiting = 0;
  return (text) => {
    clearTimeout(waiting);
    waiting = setTimeout(() => {
      element.textContent = text;
    }, SPEAK_AFTER_MS);
  };
}

/** A verdict's sign and word. */
function verdictPart(word, looks) {
  const { text, shape } = looks.verdicts[word];
  const element = part("span", "", `verdict ${word}`);
  const sign = part("span", shape);
  sign.setAttribute("aria-hidden", "true");
  element.append(sign, ` ${text}`);
  return element;
}

/**
 * One place in words. ``values``: what the layers hold there, mm: {height, expanded, gap: {layer, value, expanded}, work, inside}.
 */
function placeText(at, values, words) {
  const said = [`${words.place(at)}:`];
  if (values.height !== values.height) {
    said.push(values.inside ? "not seen" : "not judged here (wall, strip along it, or beyond the floor)");
    return `${said.join(" ")}.`;
  }
  const parts = [`height ${words.height(values.height, values.expanded)}`];
  if (values.gap && values.gap.value === values.gap.value) {
    const { layer, value, expanded } = values.gap;
    const said = Number.isFinite(expanded) ? words.sizeText(value, expanded) : words.size(value);
    const limit = layer.limit_mm ? ` against a limit of ${words.limit(layer.limit_mm)}` : "";
    parts.push(`largest gap here under ${words.reach(layer.edge_mm)}: ${said}${limit}`);
  }
  const work = Math.abs(values.work) >= 0.05 ? values.work : 0;
  if (work) parts.push(`${work > 0 ? "planned fill" : "planned grinding"} ${words.size(Math.abs(work))}`);
  const found = values.site ? ` Found on site: ${values.site}${/[.!?…]$/.test(values.site) ? "" : "."}` : "";
  return `${said[0]} ${parts.join(", ")}.${found}`;
}

/** Why there is no word, or not a plain one; "" where it is plain. */
function whyOpen({ why, rule }, words, looks) {
  const noise = looks.by_hand ? "noise of the readings" : "noise of the capture";
  switch (why) {
    case "bias": return `Not decided: up to ${words.size(rule.bias_mm)} of it may be ${noise}.`;
    case "lift": return `Not decided: ${noise} may hide up to ${words.size(rule.lift_mm)} of it.`;
    case "spread": return "Not decided: with its ± it may lie on either side of the limit.";
    case "not_laid": return `No verdict: cannot be judged here: ${looks.by_hand ? "readings lie" : "measured places lie"} too far apart.`;
    default: return "";
  }
}

/** The result of the straightedge, as elements; and the same as one plain text. */
function edgeParts(result, words, looks) {
  const { laid, edgeMm, judged, own, expandedMm, after, afterExpandedMm } = result;
  const length = laid.atMm[laid.atMm.length - 1];
  const under = `under ${words.reach(edgeMm ?? length)}`;
  if (laid.gapMm === null) return [part("p", `Too little floor was seen on this line to lay an edge ${under}.`, "main")];
  const main = part("p", "", "main");
  if (judged.word) main.append(verdictPart(judged.word, looks), " ");
  const least = laid.bridgesHole ? "at least " : "";
  main.append("gap ", part("strong", `${least}${words.sizeText(laid.gapMm, expandedMm)}`), ` ${under}`);
  if (judged.limit) main.append(`, limit ${words.limit(judged.limit.limit_mm)}`);
  const parts = [main];
  const why = whyOpen(judged, words, looks);
  if (why) parts.push(part("p", why, "why"));
  if (own) {
    const told = part("p", "As judged: ", "own");
    const atLeast = own.at_least ? "at least " : "";
    told.append(verdictPart(own.verdict, looks), `, ${atLeast}${words.sizeText(own.value_mm, COVERAGE_K * own.u_mm)}, every line looked at`);
    parts.push(told);
  }
  const [first, , second] = laid.stations;
  const where = laid.gapMm > 0
    ? `It rests ${words.tape(laid.atMm[first])} and ${words.tape(laid.atMm[second])} from P, ${words.tape(laid.spanMm)} apart. Deepest: ${words.place(laid.at)}.`
    : `No gap: it rests on one place, ${words.place(laid.at)}.`;
  parts.push(part("p", where));
  if (laid.bridgesHole) parts.push(part("p", "Floor between the contacts was not seen: the gap may be larger.", "soft"));
  if (after && after.gapMm !== null) parts.push(part("p", `As planned: gap ${words.sizeText(after.gapMm, afterExpandedMm)} on the same line.`, "after"));
  return parts;
}
