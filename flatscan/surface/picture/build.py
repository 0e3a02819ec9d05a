"""The floor seen from straight above, from the best that a capture holds: photos, colours of points, bare heights."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.progress import SILENT, Progress
from flatscan.surface.picture.from_photos import photo_picture, with_caveats
from flatscan.surface.picture.from_points import colour_picture, height_picture

if TYPE_CHECKING:
    from flatscan.settings import JointSettings
    from flatscan.sources.scan import Scan
    from flatscan.surface.picture.floor_picture import FloorPicture
    from flatscan.surface.surface import Surface

__all__ = ["floor_picture", "height_picture"]


def floor_picture(
    scan: Scan, surface: Surface, settings: JointSettings, *, progress: Progress = SILENT
) -> FloorPicture | None:
    """The floor picture; None where nothing in the capture shows joints.

    Photos laid on the measured heights where there are posed photos; else the colours of the points; else the relief
    of their heights. Photos that cannot be used are a caveat on what is made instead.
    """
    if surface.lattice:
        return None
    picture, doubts = photo_picture(scan, surface, settings, progress)
    if picture is not None:
        return picture
    picture = colour_picture(scan, surface, settings) or height_picture(scan, surface, settings)
    return picture if picture is None or not doubts else with_caveats(picture, doubts)
