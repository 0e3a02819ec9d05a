// How well a laid edge's gap is known, and what may be said of it: the twin of report/viewer/edge_doubt.py and
// edge_verdict.py. ``edge`` is that entry of the page's data.

const COVERAGE_K = 2; // U = k u, about 95 %

/** One standard uncertainty of the gap of ``laid``; ``doubts``: {sigma, modes: [grids], rest}. */
function uncertaintyOf(laid, edge, doubts) {
  const modes = edge.modes !== null;
  if (!(laid.gapMm > 0)) {
    if (!modes) return valueAt(doubts.sigma, laid.at) * Math.sqrt(1.5);
    const rest = doubts.rest ? valueAt(doubts.rest, laid.at) : 0;
    const sum = doubts.modes.reduce((all, mode) => all + heightAt(mode, laid.at) ** 2, rest ** 2);
    return edge.modes.factor * Math.sqrt(1.5 * sum);
  }
  const [first, second] = laid.contacts;
  const apart = Math.hypot(second[0] - first[0], second[1] - first[1]);
  const share = Math.hypot(laid.at[0] - first[0], laid.at[1] - first[1]) / apart;
  const places = [laid.at, first, second];
  const weights = [-1, 1 - share, share];
  const alone = (grid) => places.reduce((all, place, k) => all + (weights[k] * valueAt(grid, place)) ** 2, 0);
  if (modes) {
    const together = (grid) => places.reduce((all, place, k) => all + weights[k] * heightAt(grid, place), 0) ** 2;
    const sum = doubts.modes.reduce((all, mode) => all + together(mode), doubts.rest ? alone(doubts.rest) : 0);
    return edge.modes.factor * Math.sqrt(sum);
  }
  const [dx, dy] = [second[0] - first[0], second[1] - first[1]];
  const bent = ([a, b, c]) => (share * (1 - share) * (a * dx * dx + b * dx * dy + c * dy * dy)) ** 2;
  return Math.sqrt(edge.bends.reduce((all, bend) => all + bent(bend), alone(doubts.sigma)));
}

/**
 * Over, within or not decided (JCGM 106), never bolder than what errors of the floor alone would show: {word, why}.
 * Why it is not decided: "spread", its ± reaches over the limit; "bias", noise may have made that much of it; "lift",
 * noise may hide that much of it; "hole", it crosses floor that was not seen.
 */
function edgeVerdict(gapMm, u, limitMm, rule, guard, bridgesHole) {
  const within = (gap) => gap + guard * u <= limitMm;
  const over = (gap) => !within(gap) && gap - guard * u >= limitMm;
  const open = (why) => ({ word: "not_decided", why });
  if (within(gapMm)) {
    if (bridgesHole) return open("hole");
    return gapMm + rule.lift_mm > limitMm ? open("lift") : { word: "within", why: "" };
  }
  if (!over(gapMm)) return open("spread");
  return over(Math.max(0, gapMm - rule.bias_mm)) ? { word: "over", why: "" } : open("bias");
}

/** The gap that the program judged where this edge lies: over the same contacts, to a cell or two; null: none. */
function judgedHere(data, laid, edgeMm) {
  if (!(laid.gapMm > 0)) return null;
  const near = 1.5 * data.cell_mm;
  const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]) <= near;
  const same = ([a, b]) => [laid.contacts, [...laid.contacts].reverse()].some(([c, d]) => apart(a, c) && apart(b, d));
  const found = [...data.findings, ...data.judged].filter((one) => one.contacts && one.verdict && one.edge_mm === edgeMm);
  return found.find((one) => same(one.contacts)) ?? null;
}

/**
 * The strictest limit of an edge's length, and the word for it: {limit, rule, word, why}; null and "" where none names
 * it, or where the program could not lay such an edge ("why" is "not_laid").
 */
function judgeEdge(data, laid, u, edgeMm) {
  const limits = data.limits.filter((one) => edgeMm !== null && one.edge_mm === edgeMm);
  const rule = data.edge.rules.find((one) => one.edge_mm === edgeMm);
  if (!limits.length || !rule || laid.gapMm === null || !Number.isFinite(u)) return { limit: null, rule, word: "", why: "" };
  const limit = limits.reduce((a, b) => (b.limit_mm < a.limit_mm ? b : a));
  if (!limit.laid) return { limit, rule, word: "", why: "not_laid" };
  return { limit, rule, ...edgeVerdict(laid.gapMm, u, limit.limit_mm, rule, data.edge.guard, laid.bridgesHole) };
}
