"""The floor seen from straight above: photos or colours of points, and bare heights."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.progress import SILENT, Progress
from flatscan.surface.picture.alignment import AlignedPhotos, aligned_photos
from flatscan.surface.picture.from_photos import photo_picture, with_caveats
from flatscan.surface.picture.from_points import colour_picture, height_picture

if TYPE_CHECKING:
    from flatscan.settings import JointSettings
    from flatscan.sources.scan import Scan
    from flatscan.surface.picture.floor_picture import FloorPicture
    from flatscan.surface.surface import Surface

__all__ = ["AlignedPhotos", "aligned_photos", "floor_picture", "height_picture", "with_caveats"]


def floor_picture(
    scan: Scan,
    surface: Surface,
    settings: JointSettings,
    *,
    photos: AlignedPhotos | None = None,
    progress: Progress = SILENT,
) -> FloorPicture | None:
    """The floor picture of photos laid on the measured heights, else of the points' colours; None without either.

    What makes a picture of bare heights is ``height_picture``. Photos that cannot be used are a caveat on the colours;
    where there are none, ``photos.caveats`` is the only place that tells.

    Parameters
    ----------
    photos : of ``aligned_photos`` for this scan and surface, where the caller needs them too; None: made here
    """
    aligned = aligned_photos(scan, surface, progress=progress) if photos is None else photos
    picture = photo_picture(scan, surface, settings, aligned, progress)
    if picture is not None:
        return picture
    picture = colour_picture(scan, surface, settings)
    return picture if picture is None or not aligned.caveats else with_caveats(picture, aligned.caveats)
