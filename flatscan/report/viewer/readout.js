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
    const said = Number.isFinite(expanded) ? words.plusMinus(value, expanded) : words.size(value);
    const limit = layer.limit_mm ? ` (limit ${words.limit(layer.limit_mm)})` : "";
    parts.push(`largest gap here under ${words.reach(layer.edge_mm)}: ${said}${limit}`);
  }
  const work = Math.abs(values.work) >= 0.05 ? values.work : 0;
  if (work) parts.push(`${work > 0 ? "planned fill" : "planned grinding"} ${words.size(Math.abs(work))}`);
  return `${said[0]} ${parts.join(", ")}.`;
}

/** The result of the straightedge, as elements; and the same as one plain text. */
function edgeParts(result, words, looks) {
  const { laid, edgeMm, judged, expandedMm, after, afterExpandedMm } = result;
  const length = laid.atMm[laid.atMm.length - 1];
  const under = `under ${words.reach(edgeMm ?? length)}`;
  if (laid.gapMm === null) return [part("p", `Too little floor was seen on this line to lay an edge ${under}.`, "main")];
  const main = part("p", "", "main");
  if (judged.word) main.append(verdictPart(judged.word, looks), " ");
  const least = laid.bridgesHole ? "at least " : "";
  main.append("gap ", part("strong", `${least}${words.plusMinus(laid.gapMm, expandedMm)}`), ` ${under}`);
  if (judged.limit) main.append(`, limit ${words.limit(judged.limit.limit_mm)}`);
  const parts = [main];
  const [first, , second] = laid.stations;
  const where = laid.gapMm > 0
    ? `It rests ${words.tape(laid.atMm[first])} and ${words.tape(laid.atMm[second])} from P, ${words.tape(laid.spanMm)} apart. Deepest: ${words.place(laid.at)}.`
    : `No gap: it rests on one place, ${words.place(laid.at)}.`;
  parts.push(part("p", where));
  if (laid.bridgesHole) parts.push(part("p", "Floor between the contacts was not seen: the gap may be larger.", "soft"));
  if (after && after.gapMm !== null) parts.push(part("p", `As planned: gap ${words.plusMinus(after.gapMm, afterExpandedMm)} on the same line.`, "after"));
  return parts;
}
