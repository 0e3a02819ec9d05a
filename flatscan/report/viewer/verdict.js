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

/** Over, within or not decided (JCGM 106), never bolder than what errors of the floor alone would show. */
function edgeVerdict(gapMm, u, limitMm, rule, guard, bridgesHole) {
  const within = (gap) => gap + guard * u <= limitMm;
  const over = (gap) => !within(gap) && gap - guard * u >= limitMm;
  if (within(gapMm)) return bridgesHole || gapMm + rule.lift_mm > limitMm ? "not_decided" : "within";
  return over(gapMm) && over(Math.max(0, gapMm - rule.bias_mm)) ? "over" : "not_decided";
}

/** The strictest limit of an edge's length, and the word for it: {limit, word}; null and "" where none names it. */
function judgeEdge(data, laid, u, edgeMm) {
  const limits = data.limits.filter((one) => edgeMm !== null && one.edge_mm === edgeMm);
  const rule = data.edge.rules.find((one) => one.edge_mm === edgeMm);
  if (!limits.length || !rule || laid.gapMm === null || !Number.isFinite(u)) return { limit: null, word: "" };
  const limit = limits.reduce((a, b) => (b.limit_mm < a.limit_mm ? b : a));
  return { limit, word: edgeVerdict(laid.gapMm, u, limit.limit_mm, rule, data.edge.guard, laid.bridgesHole) };
}
