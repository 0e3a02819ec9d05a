"""Slow twins: every chord of a line tried, every height read cell by cell, the page's arithmetic from its own data.

Written from the words of the contract, not from the code. Lengths in mm.
"""

from __future__ import annotations

import base64
import json
import math
import zlib

import numpy as np


def largest_gap(at, height, longest=math.inf):
    """Largest height of a chord between two stations over one between them; 0 where there is none."""
    most = 0.0
    for i in range(len(at)):
        for j in range(i + 2, len(at)):
            if at[j] - at[i] <= longest:
                for k in range(i + 1, j):
                    share = (at[k] - at[i]) / (at[j] - at[i])
                    most = max(most, (1 - share) * height[i] + share * height[j] - height[k])
    return most


def with_contacts(at, height, longest):
    """(gap, first, deepest, second); of gaps within 1e-9 the widest, then the first."""
    at, height = np.asarray(at), np.asarray(height)
    found = []
    for i in range(len(at) - 2):
        js = np.arange(i + 2, len(at))
        for j in js[at[js] - at[i] <= longest]:
            inner = np.arange(i + 1, j)
            share = (at[inner] - at[i]) / (at[j] - at[i])
            gap = (1 - share) * height[i] + share * height[j] - height[inner]
            k = int(np.argmax(gap))
            found.append((float(gap[k]), i, int(inner[k]), int(j)))
    most = max((f[0] for f in found), default=0.0)
    if most <= 1e-9:
        return None
    return min((f for f in found if f[0] >= most - 1e-9), key=lambda f: (f[1] - f[3], f[1], f[2]))


def unpack(layer):
    """(rows, cols) float64 of one layer of the page's data, NaN where there is nothing."""
    rows, cols, n = layer["rows"], layer["cols"], layer["bits"] // 8
    raw = zlib.decompress(base64.b64decode(layer["data"]), wbits=-15)
    assert len(raw) == rows * cols * n
    numbers = np.zeros(rows * cols, np.int64)
    for plane in range(n):
        numbers += np.frombuffer(raw[plane * rows * cols :][: rows * cols], np.uint8).astype(np.int64) << (8 * plane)
    whole = np.zeros((rows, cols), np.int64)
    above = 0
    for r in range(rows):
        line = np.cumsum(numbers[r * cols : (r + 1) * cols]) + above
        whole[r] = line % (1 << layer["bits"])
        above = int(whole[r, 0])
    return np.where(whole == layer["nodata"], np.nan, layer["offset"] + layer["scale"] * whole)


class Page:
    """What the page can say, from its text alone."""

    def __init__(self, text):
        self.data = json.loads(text)
        self.grids = {layer["name"]: unpack(layer) for layer in self.data["layers"]}
        self.cell = self.data["cell_mm"]

    def spot(self, place):
        """(row, col) in cells from the first centre, held on the grid; None off it."""
        (x0, y0), shape = self.data["origin_mm"], (self.data["rows"], self.data["cols"])
        at = ((place[1] - y0) / self.cell - 0.5, (place[0] - x0) / self.cell - 0.5)
        if any(a < -1 or a > n - 1 + 1 for a, n in zip(at, shape, strict=True)):
            return None
        return tuple(min(max(a, 0.0), n - 1.0) for a, n in zip(at, shape, strict=True))

    def nearest(self, grid, place):
        r, c = (math.floor(a + 0.5 + 1e-6) for a in self.spot(place))
        return float(grid[min(r, grid.shape[0] - 1), min(c, grid.shape[1] - 1)])

    def between(self, grid, place):
        """Bilinear, the nearest cell where one of the four is nothing."""
        if self.spot(place) is None:
            return math.nan
        r, c = self.spot(place)
        r0, c0 = math.floor(r + 1e-6), math.floor(c + 1e-6)
        fr, fc = max(0.0, r - r0), max(0.0, c - c0)
        total = weights = 0.0
        for dr, wr in ((0, 1 - fr), (1, fr)):
            for dc, wc in ((0, 1 - fc), (1, fc)):
                if wr * wc > 1e-6:
                    total += wr * wc * float(grid[min(r0 + dr, grid.shape[0] - 1), min(c0 + dc, grid.shape[1] - 1)])
                    weights += wr * wc
        return total / weights if math.isfinite(total) else self.nearest(grid, place)

    def lay(self, start, end, edge):
        """(gap, u, first, deepest, second) as places; None where nothing can be said."""
        start, end = np.asarray(start, float), np.asarray(end, float)
        length = math.hypot(*(end - start))
        at, k = [], 0
        while k * self.cell < length - 1e-6 * self.cell:
            at.append(k * self.cell)
            k += 1
        at.append(length)
        places = [start + (end - start) * a / length for a in at]
        height = [self.between(self.grids["height"], p) for p in places]
        longest = math.inf if edge is None else edge + 1e-6 * self.cell
        hole = math.floor(min(100.0, math.inf if edge is None else edge / 4) / self.cell + 1e-6)
        best = None
        for piece in self.pieces(places, height, hole):
            if len(piece) >= 3:
                found = with_contacts([at[i] for i in piece], [height[i] for i in piece], longest)
                row = (found[0], *(piece[i] for i in found[1:])) if found else (0.0, None, None, None)
                if best is None or row[0] > best[0]:
                    best = row
        if best is None or best[1] is None:
            return best and (0.0, None, None, None, None)
        i, k, j = (places[n] for n in best[1:])
        return best[0], self.u(i, k, j), i, k, j

    def pieces(self, places, height, hole):
        piece, run = [], 0
        for n, (place, z) in enumerate(zip(places, height, strict=True)):
            wall = self.spot(place) is None or self.nearest(self.grids["seen"], place) == 0
            run = run + 1 if math.isnan(z) and not wall else 0
            if wall or run == hole + 1:
                yield piece
                piece = []
            elif not math.isnan(z):
                piece.append(n)
        yield piece

    def u(self, i, k, j):
        edge = self.data["edge"]
        way = j - i
        s = math.hypot(*(k - i)) / math.hypot(*way)
        shares = ((k, -1.0), (i, 1 - s), (j, s))
        if edge["modes"] is None:
            square = sum((w * self.nearest(self.grids["sigma"], p)) ** 2 for p, w in shares)
            for a, b, c in edge["bends"]:
                square += (s * (1 - s) * (a * way[0] ** 2 + b * way[0] * way[1] + c * way[1] ** 2)) ** 2
            return math.sqrt(square)
        modes = edge["modes"]
        square = sum(sum(w * self.between(self.grids[m], p) for p, w in shares) ** 2 for m in modes["layers"])
        if modes["rest"]:
            square += sum((w * self.nearest(self.grids[modes["rest"]], p)) ** 2 for p, w in shares)
        return modes["factor"] * math.sqrt(square)
