"""An invented floor: its true height at every point, exactly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.synth.laying import Tiling, lay
from flatscan.synth.outline import cell_centres, check_outline, inside
from flatscan.synth.shape import NO_WAVES, Bay, Tilt, Waves, draw_waves

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.synth.tiles import Tiles

#: Grid on which the waves' rms is made exact.
_RMS_CELL_MM = 25.0


@dataclass(frozen=True, slots=True, eq=False)
class InventedFloor:
    """Tilt + waves + bays, and tiles on top if any. Room frame: mm, z up, origin at a corner, +x a wall.

    Attributes
    ----------
    outline_mm : (k, 2) float64, the room's corners, anticlockwise
    tilt, waves, bays : the large shape
    tiles : the tile field; None is a bare floor
    """

    outline_mm: NDArray[np.float64]
    tilt: Tilt
    waves: Waves
    bays: tuple[Bay, ...]
    tiles: Tiles | None

    def __post_init__(self) -> None:
        check_outline(self.outline_mm)
        self.outline_mm.setflags(write=False)

    def shape_mm(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Height of the large shape alone: smooth, no tiles. Broadcasts."""
        height = self.tilt.height_mm(x_mm, y_mm) + self.waves.height_mm(x_mm, y_mm)
        for bay in self.bays:
            height = height + bay.height_mm(x_mm, y_mm)
        return height

    def height_mm(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """True height: tile face, rounded edge or grout. Broadcasts; also defined beyond the walls."""
        height = self.shape_mm(x_mm, y_mm)
        return height if self.tiles is None else height + self.tiles.relief_mm(x_mm, y_mm)

    def face_mm(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Height with every joint bridged: each face carries on to the middle of its joints."""
        height = self.shape_mm(x_mm, y_mm)
        if self.tiles is None:
            return height
        x_mm, y_mm = np.broadcast_arrays(np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float))
        at = self.tiles.place(x_mm, y_mm)
        return height + self.tiles.face_of(at.row, at.col, x_mm, y_mm)

    def inside(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether each point lies within the walls."""
        return inside(self.outline_mm, x_mm, y_mm)


def make_floor(
    outline_mm: NDArray[np.float64],
    *,
    rng: np.random.Generator,
    tilt: Tilt | None = None,
    waves_rms_mm: float = 0.0,
    wavelength_mm: float = 2500.0,
    wave_spread: float = 1.6,
    bays: tuple[Bay, ...] = (),
    tiling: Tiling | None = None,
) -> InventedFloor:
    """Invent a floor.

    Parameters
    ----------
    outline_mm : (k, 2) the room (see ``outline.rectangle`` and ``outline.l_shape``)
    rng : all chance comes from here
    tilt : the room's slope
    waves_rms_mm : standard deviation of the waves over this room's area, exact on a 25 mm grid
    wavelength_mm, wave_spread : the waves' lengths lie within this factor of this length
    bays : dips and humps
    tiling : tiles to lay; None leaves the floor bare
    """
    waves = NO_WAVES
    if waves_rms_mm > 0:
        waves = draw_waves(rng, wavelength_mm=wavelength_mm, spread=wave_spread)
        x_mm, y_mm, within = cell_centres(outline_mm, _RMS_CELL_MM)
        waves = waves.scaled(waves_rms_mm / float(np.std(waves.height_mm(x_mm[None, :], y_mm[:, None])[within])))
    return InventedFloor(
        outline_mm=np.array(outline_mm, dtype=np.float64),
        tilt=tilt or Tilt(),
        waves=waves,
        bays=bays,
        tiles=None if tiling is None else lay(tiling, outline_mm, rng),
    )
