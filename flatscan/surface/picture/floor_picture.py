"""The record of the floor seen from straight above, with how finely and how squarely each place was seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat

#: What the picture is made of.
PictureKind = Literal["photos", "colours", "heights"]


@dataclass(frozen=True, slots=True, eq=False)
class FloorPicture:
    """A picture on a regular grid in the floor frame. Rows run along y (row 0 at the bottom wall), columns along x.

    Attributes
    ----------
    kind : ``photos`` rectified, ``colours`` of the points of a cloud, or ``heights``: local relief of bare points
    tone : (rows, cols) float32; photos and colours: linear brightness 0 to 1; heights: height above its
        surroundings in mm. NaN: not seen
    rgb : (rows, cols, 3) uint8, for people to look at; None for heights
    pixel_mm : side of a pixel
    origin_mm : (x, y) floor-frame position of the outer corner of pixel [0, 0]
    map_cell_mm : side of the cells of the two maps below, which cover the same area from the same corner
    source_mm : (r, c) float32, size on the floor of one pixel of the photo used (heights, colours: mean distance
        of neighbouring points); NaN: not seen
    view_tan : (r, c) float32, tangent of the angle between the line of sight and the vertical, 0: from
        straight above; NaN where no single photo was used
    photo : (r, c) int16, index into the scan's frames of the photo used, -1: none
    inferences, caveats : what was inferred and what is doubtful
    """

    kind: PictureKind
    tone: NDArray[np.float32]
    rgb: NDArray[np.uint8] | None
    pixel_mm: float
    origin_mm: tuple[float, float]
    map_cell_mm: float
    source_mm: NDArray[np.float32]
    view_tan: NDArray[np.float32]
    photo: NDArray[np.int16]
    inferences: tuple[str, ...] = ()
    caveats: tuple[Caveat, ...] = ()

    def __post_init__(self) -> None:
        shape = self.tone.shape
        if self.rgb is not None and self.rgb.shape != (*shape, 3):
            raise ValueError(f"rgb must be {(*shape, 3)}, got {self.rgb.shape}")
        if self.pixel_mm <= 0 or self.map_cell_mm <= 0:
            raise ValueError("pixel_mm and map_cell_mm must be positive")
        if not self.source_mm.shape == self.view_tan.shape == self.photo.shape:
            raise ValueError("source_mm, view_tan and photo must have one shape")
        for array in (self.tone, self.rgb, self.source_mm, self.view_tan, self.photo):
            if array is not None:
                array.setflags(write=False)
