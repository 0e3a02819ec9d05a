"""The record this stage hands on: heights on a regular grid in the floor frame, with their doubt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.quantity import Quantity
    from flatscan.sources.scan import ScanKind
    from flatscan.surface.readings.fit import ReadingsFit


@dataclass(frozen=True, slots=True)
class NoiseModel:
    """What the capture adds to a cell's true height, estimated from the capture itself.

    A cell's error is white + correlated + systematic, independent of each other:
    ``white`` differs from cell to cell (its size per cell is in ``Surface.white_mm``);
    ``correlated_mm`` is the standard deviation of a stationary Gaussian field with covariance
    ``correlated_mm² · exp(-½ (d / length_mm)²)`` at distance d; ``systematic_mm`` is the standard
    deviation of slow bends of room size which the data cannot show. ``floor_share`` is the share of the
    correlated variance that may be the floor's own texture and lips instead: one view cannot tell.
    """

    white_mm: float
    correlated_mm: float
    length_mm: float
    systematic_mm: float
    #: One sentence: how it was estimated.
    how: str
    floor_share: float = 0.0

    def __post_init__(self) -> None:
        if min(self.white_mm, self.correlated_mm, self.systematic_mm) < 0 or self.length_mm <= 0:
            raise ValueError("noise parts must be >= 0 and length_mm > 0")

    @property
    def height_sigma_mm(self) -> float:
        """Typical standard uncertainty of one cell's height: all three parts together."""
        return float(np.sqrt(self.white_mm**2 + self.correlated_mm**2 + self.systematic_mm**2))


@dataclass(frozen=True, slots=True)
class Slope:
    """Fall of the reference plane against gravity. ``direction_rad``: downhill, from floor-frame x, anticlockwise."""

    fall: Quantity
    direction_rad: float


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """A floor's height map. Rows run along floor-frame y, columns along x; arrays are read-only.

    Attributes
    ----------
    height_mm : (rows, cols) float32, deviation from the reference plane along its normal, + is high;
        NaN where the floor was not seen
    estimate_mm : (rows, cols) float32, best estimate of the true height: ``height_mm`` with the part
        that the noise model explains shrunk away; NaN where ``height_mm`` is NaN
    white_mm : (rows, cols) float32, standard uncertainty of the white part of a cell's height; NaN like height
    count : (rows, cols) int32, samples behind each cell
    inside : (rows, cols) bool, the floor to be judged. False is wall, skirting strip, column or beyond
        the floor: the straightedge cannot pass. True with NaN height is a hole
    cell_mm : side of a cell
    origin_mm : (x, y) floor-frame position of the outer corner of cell [0, 0]
    floor_from_scan : (4, 4) float64, absolute scan coordinates (mm) to floor frame (mm)
    outline : rings, (k, 2) float64 floor-frame mm, the exterior first, then holes (columns)
    noise : the noise model
    slope : fall against gravity, None where gravity is not known
    correlated_scale : (rows, cols) float32, size of the correlated noise in each cell over ``noise.correlated_mm``
        (cells that few views saw have more of it), NaN like height; None: the same everywhere
    kind : what the points came from
    strip_mm : width of the strip along the walls that is not judged
    realisations_mm : (draws, rows, cols) float32, floors that agree with the readings taken by hand, each as likely
        as the next, freed of their plane, NaN like height; ``estimate_mm`` is their mean and ``white_mm`` their
        scatter. None: the noise model says what is not known
    fit : how readings taken by hand are met; None: there were none
    inferences, caveats : carried from the scan, plus this stage's own
    """

    height_mm: NDArray[np.float32]
    estimate_mm: NDArray[np.float32]
    white_mm: NDArray[np.float32]
    count: NDArray[np.int32]
    inside: NDArray[np.bool_]
    cell_mm: float
    origin_mm: tuple[float, float]
    floor_from_scan: NDArray[np.float64]
    outline: tuple[NDArray[np.float64], ...]
    noise: NoiseModel
    slope: Slope | None
    kind: ScanKind
    strip_mm: float = 0.0
    correlated_scale: NDArray[np.float32] | None = None
    realisations_mm: NDArray[np.float32] | None = None
    fit: ReadingsFit | None = None
    inferences: tuple[str, ...] = ()
    caveats: tuple[Caveat, ...] = ()

    def __post_init__(self) -> None:
        shape = self.height_mm.shape
        for name in ("estimate_mm", "white_mm", "count", "inside"):
            if getattr(self, name).shape != shape:
                raise ValueError(f"{name} must have the shape of height_mm {shape}")
        if self.correlated_scale is not None and self.correlated_scale.shape != shape:
            raise ValueError(f"correlated_scale must have the shape of height_mm {shape}")
        if self.cell_mm <= 0:
            raise ValueError("cell_mm must be positive")
        if np.any(np.isfinite(self.height_mm) & ~self.inside):
            raise ValueError("height_mm must be NaN outside the floor")
        if self.correlated_scale is not None:
            self.correlated_scale.setflags(write=False)
        if self.realisations_mm is not None:
            if self.realisations_mm.shape[1:] != shape:
                raise ValueError(f"realisations_mm must each have the shape of height_mm {shape}")
            self.realisations_mm.setflags(write=False)
        for array in (
            self.height_mm,
            self.estimate_mm,
            self.white_mm,
            self.count,
            self.inside,
            self.floor_from_scan,
            *self.outline,
        ):
            array.setflags(write=False)

    @property
    def seen(self) -> NDArray[np.bool_]:
        """(rows, cols) bool: cells with a measured height."""
        return np.isfinite(self.height_mm)

    @property
    def area_m2(self) -> float:
        """Area of the floor to be judged, seen or not."""
        return float(self.inside.sum()) * self.cell_mm**2 / 1e6

    @property
    def seen_share(self) -> float:
        """Share of that area with a measured height, 0 to 1."""
        return float(self.seen.sum()) / max(1, int(self.inside.sum()))

    @property
    def longest_mm(self) -> float:
        """Diagonal of the floor's bounding box: no straightedge on it can be longer."""
        rows, cols = np.nonzero(self.inside)
        if len(rows) == 0:
            return 0.0
        return float(np.hypot(np.ptp(rows) + 1, np.ptp(cols) + 1)) * self.cell_mm

    def xy_mm(self, row: float, col: float) -> tuple[float, float]:
        """Floor-frame position of a cell's centre."""
        x0, y0 = self.origin_mm
        return x0 + (col + 0.5) * self.cell_mm, y0 + (row + 0.5) * self.cell_mm
