// A straightedge laid along any line: the twin of the package's measures/laid_edge.py and highest_chord.py.
//
// Pure figures, no page: also run by node in the tests. Places are [x, y] in floor mm. A grid is
// {rows, cols, cellMm, originMm, values} with row 0 at the bottom wall and NaN where the floor was not seen.

const ROUNDING = 1e-6; // shares of a cell this small are rounding
const SAME_MM = 1e-9; // gaps this near to each other are the same
const LEAST_STATIONS = 3; // with fewer nothing lies between two
const BRIDGE_SHARE = 0.25; // of the edge's length: no longer hole is bridged
const BESIDE_CELLS = 1; // a place so far off the outermost centres is read there: edges reach to the wall

/** Distances along the line: every cell from 0, and the length itself. */
function stationsMm(lengthMm, cellMm) {
  const at = [];
  for (let k = 0; k * cellMm < lengthMm - ROUNDING * cellMm; k += 1) at.push(k * cellMm);
  at.push(lengthMm);
  return at;
}

/** Row and column in cells, 0 the centre of the first; null off the grid. */
function rowCol(grid, place) {
  const most = [grid.rows - 1, grid.cols - 1];
  const at = [1, 0].map((axis) => (place[axis] - grid.originMm[axis]) / grid.cellMm - 0.5);
  if (at.some((value, axis) => value < -BESIDE_CELLS || value > most[axis] + BESIDE_CELLS)) return null;
  return at.map((value, axis) => Math.min(most[axis], Math.max(0, value)));
}

/** Index of the nearest cell, halves up; -1 off the grid. */
function nearestCell(grid, place) {
  const at = rowCol(grid, place);
  if (!at) return -1;
  const [row, col] = at.map((value) => Math.floor(value + 0.5 + ROUNDING));
  return Math.min(row, grid.rows - 1) * grid.cols + Math.min(col, grid.cols - 1);
}

/** The value of the nearest cell; NaN off the grid. */
function valueAt(grid, place) {
  const cell = nearestCell(grid, place);
  return cell < 0 ? NaN : grid.values[cell];
}

/** Height between the four cells around; the nearest cell's where one of them was not seen. */
function heightAt(grid, place) {
  const at = rowCol(grid, place);
  if (!at) return NaN;
  const low = at.map((value) => Math.floor(value + ROUNDING));
  const part = at.map((value, axis) => Math.max(value - low[axis], 0));
  let [sum, whole] = [0, 0];
  for (let corner = 0; corner < 4; corner += 1) {
    const [up, right] = [corner >> 1, corner & 1];
    const share = (up ? part[0] : 1 - part[0]) * (right ? part[1] : 1 - part[1]);
    if (share <= ROUNDING) continue;
    const [row, col] = [Math.min(low[0] + up, grid.rows - 1), Math.min(low[1] + right, grid.cols - 1)];
    sum += share * grid.values[row * grid.cols + col];
    whole += share;
  }
  const between = sum / whole;
  return between === between ? between : valueAt(grid, place);
}

/** Number of the unbroken piece of each station: no floor and long unseen stretches begin another. */
function piecesOf(heights, onFloor, mostHole) {
  let [number, run] = [0, 0];
  return heights.map((height, k) => {
    const unseen = onFloor[k] && height !== height;
    run = unseen ? run + 1 : 0;
    if (!onFloor[k] || run === mostHole + 1) number += 1;
    return number;
  });
}

/**
 * The largest height of a chord between two stations over one between them: {at, first, second, gapMm}, indices.
 * Chords between stations further apart than longestMm do not count. From each station only the farthest of the
 * steepest chords matters: no other is higher anywhere.
 */
function deepest(atMm, heights, longestMm) {
  let best = null;
  const better = (one) =>
    !best || one.gapMm > best.gapMm + SAME_MM ||
    (one.gapMm > best.gapMm - SAME_MM &&
      (one.second - one.first > best.second - best.first ||
        (one.second - one.first === best.second - best.first && one.first < best.first)));
  for (let first = 0; first + 2 < atMm.length; first += 1) {
    let [slope, second] = [-Infinity, first];
    for (let j = first + 1; j < atMm.length && atMm[j] - atMm[first] <= longestMm; j += 1) {
      const one = (heights[j] - heights[first]) / (atMm[j] - atMm[first]);
      if (one >= slope) [slope, second] = [one, j];
    }
    for (let k = first + 1; k < second; k += 1) {
      const gapMm = heights[first] + slope * (atMm[k] - atMm[first]) - heights[k];
      const one = { at: k, first, second, gapMm };
      if (gapMm > SAME_MM && better(one)) best = one;
    }
  }
  return best ?? highest(atMm, heights);
}

/** Where the floor is nowhere below a chord: the highest station, the nearest to the middle of equal ones. */
function highest(atMm, heights) {
  const most = Math.max(...heights);
  const middle = atMm.reduce((sum, at) => sum + at, 0) / atMm.length;
  let at = -1;
  heights.forEach((height, k) => {
    if (height === most && (at < 0 || Math.abs(atMm[k] - middle) < Math.abs(atMm[at] - middle))) at = k;
  });
  return { at, first: at, second: at, gapMm: 0 };
}

/**
 * Lays an edge from start to end.
 *
 * ``floor``: {heights, seen}, grids; seen is 0 where an edge cannot pass. ``edgeMm``: contacts are no further apart;
 * null: as far as the line is long. ``bridgeMm``: the longest unseen stretch that is bridged.
 *
 * Gives {atMm, heights, gapMm, stations, contacts, at, spanMm, bridgesHole}; gapMm is null where no three stations
 * without a break were seen. stations: indices of the first contact, the deepest place, the second contact.
 */
function layEdge(floor, start, end, edgeMm, bridgeMm) {
  const { cellMm } = floor.heights;
  const way = [end[0] - start[0], end[1] - start[1]];
  const length = Math.hypot(...way);
  const atMm = stationsMm(length, cellMm);
  const places = atMm.map((at) => [start[0] + (at / length) * way[0], start[1] + (at / length) * way[1]]);
  const heights = places.map((place) => heightAt(floor.heights, place));
  const onFloor = places.map((place) => valueAt(floor.seen, place) > 0);
  const mostMm = edgeMm === null ? bridgeMm : Math.min(bridgeMm, BRIDGE_SHARE * edgeMm);
  const piece = piecesOf(heights, onFloor, Math.floor(mostMm / cellMm + ROUNDING));
  const found = deepestOfPieces(atMm, heights, onFloor, piece, edgeMm === null ? Infinity : edgeMm + ROUNDING * cellMm);
  if (!found) return { atMm, heights, gapMm: null };
  return {
    atMm,
    heights,
    gapMm: found.gapMm,
    stations: [found.first, found.at, found.second],
    contacts: [places[found.first], places[found.second]],
    at: places[found.at],
    spanMm: atMm[found.second] - atMm[found.first],
    bridgesHole: heights.slice(found.first, found.second + 1).some((height) => height !== height),
  };
}

/** The deepest of the unbroken pieces, the first of equal ones; where none has a gap, the longest piece's. */
function deepestOfPieces(atMm, heights, onFloor, piece, longestMm) {
  const seen = new Map();
  piece.forEach((number, k) => {
    if (!onFloor[k] || heights[k] !== heights[k]) return;
    if (!seen.has(number)) seen.set(number, []);
    seen.get(number).push(k);
  });
  let found = null;
  for (const kept of seen.values()) {
    if (kept.length < LEAST_STATIONS) continue;
    const one = deepest(kept.map((k) => atMm[k]), kept.map((k) => heights[k]), longestMm);
    if (found && (one.gapMm < found.gapMm || (one.gapMm === found.gapMm && kept.length <= found.count))) continue;
    found = { ...one, at: kept[one.at], first: kept[one.first], second: kept[one.second], count: kept.length };
  }
  return found;
}
