"""The floor from straight above as a picture of its own, with the joints and a grid in metres drawn over it."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.report.picture import floor, key, marks
from flatscan.report.picture.joints import PHOTO_STYLE_OF, draw_joints, joint_entries
from flatscan.report.picture.lettering import line_in, wrap
from flatscan.report.picture.sheet import EDGE_IN, room_of, sheet_for, text_width_in
from flatscan.report.words import wording

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from flatscan.report.picture.sheet import Sheet
    from flatscan.report.words.joint_words import JudgedJoint
    from flatscan.surface.picture.floor_picture import FloorPicture, PictureKind
    from flatscan.surface.surface import Surface

#: Longest side in pixels, and largest file: the next quality where the one before makes too large a file.
MOST_PIXELS, MOST_BYTES = 2500, 3_000_000
_QUALITY = (88, 75, 55, 35)
_TITLE_PT, _CAPTION_PT = 13.0, 7.5
_AFTER_IN = 0.1
#: Share of the darkest and of the brightest pixels that are drawn all black and all white.
_TAIL = 0.005
_MADE_OF: dict[PictureKind, str] = {
    "photos": "Put together from the photos",
    "colours": "The colours of the scan's points",
    "heights": "No photo and no colours: brightness is the height above the surroundings",
}


def floor_jpg(picture: FloorPicture, surface: Surface, judged: Sequence[JudgedJoint]) -> bytes:
    """JPEG under 3 MB, no side longer than ``MOST_PIXELS``."""
    figure = draw_floor(picture, surface, judged)
    dpi = MOST_PIXELS / max(figure.get_size_inches())
    for quality in _QUALITY:
        buffer = io.BytesIO()
        # One pixel to spare: the size in inches times dots per inch is rounded up.
        figure.savefig(buffer, format="jpg", dpi=dpi * (1.0 - 1.0 / MOST_PIXELS), pil_kwargs={"quality": quality})
        if buffer.tell() <= MOST_BYTES:
            break
    return buffer.getvalue()


def draw_floor(picture: FloorPicture, surface: Surface, judged: Sequence[JudgedJoint]) -> Figure:
    """The picture as a matplotlib figure of its own."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    room = room_of(surface)
    wide = text_width_in(room)
    title = wrap("The floor from straight above", wide, _TITLE_PT, bold=True)
    entries = [*joint_entries(judged, PHOTO_STYLE_OF), *([key.not_seen()] if _unseen(picture, surface) else [])]
    rows = key.rows_of(entries, wide)
    grid_mm = sheet_for(room, above_in=0.0, below_in=0.0).grid_mm
    small = wrap(_caption(picture, grid_mm), wide, _CAPTION_PT)
    above = len(title) * line_in(_TITLE_PT)
    below = len(rows) * key.ROW_IN + _AFTER_IN + len(small) * line_in(_CAPTION_PT)
    sheet = sheet_for(room, above_in=above, below_in=below)

    figure = Figure(figsize=(sheet.width, sheet.height), facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    floor.write_lines(axes, title, sheet.height - EDGE_IN, _TITLE_PT, bold=True)
    _draw_picture(axes, picture, surface, sheet)
    floor.draw_outline(axes, surface, sheet)
    blocked = floor.draw_grid(axes, surface, sheet)
    floor.draw_corner(axes, sheet)
    labels, drawn = draw_joints(axes, judged, sheet, styles=PHOTO_STYLE_OF)
    marks.draw_labels(axes, labels, sheet, blocked=blocked, drawn=drawn)
    under = sheet.map_box[1]
    key.draw_key(axes, rows, EDGE_IN, under)
    floor.write_lines(axes, small, under - len(rows) * key.ROW_IN - _AFTER_IN, _CAPTION_PT)
    axes.set(xlim=(0.0, sheet.width), ylim=(0.0, sheet.height), aspect="auto")
    return figure


def shown_pixels(picture: FloorPicture) -> NDArray[np.float32]:
    """(r, c, 3) float32, 0 to 1, row 0 at the bottom wall: what is drawn; grey where nothing was seen."""
    from matplotlib.colors import to_rgb

    step = floor.block_step(picture.tone.shape, MOST_PIXELS)
    if picture.rgb is not None:
        values = np.where(np.isfinite(picture.tone)[..., None], picture.rgb / np.float32(255.0), np.nan)
    else:
        seen = picture.tone[np.isfinite(picture.tone)]
        low, high = np.quantile(seen, (_TAIL, 1.0 - _TAIL)) if seen.size else (0.0, 1.0)
        grey = np.clip((picture.tone - low) / max(float(high - low), 1e-9), 0.0, 1.0)
        values = np.repeat(grey[..., None], 3, axis=2)
    bands = [floor.block_mean(values[..., band].astype(np.float32), step) for band in range(3)]
    reduced = np.stack(bands, axis=2)
    return np.where(np.isfinite(reduced), reduced, np.array(to_rgb(floor.HOLE))).astype(np.float32)


def _draw_picture(axes: Axes, picture: FloorPicture, surface: Surface, sheet: Sheet) -> None:
    step = floor.block_step(picture.tone.shape, MOST_PIXELS)
    shown = shown_pixels(picture)
    x0, y0 = picture.origin_mm
    side = step * picture.pixel_mm
    corners = [(x0, y0), (x0 + shown.shape[1] * side, y0 + shown.shape[0] * side)]
    (left, bottom), (right, top) = sheet.on_paper(corners).tolist()
    drawn = axes.imshow(shown, origin="lower", extent=(left, right, bottom, top), interpolation="antialiased", zorder=1)
    walls = floor.walls_patch(axes, surface, sheet)
    if walls is not None:
        drawn.set_clip_path(walls)


def _unseen(picture: FloorPicture, surface: Surface) -> bool:
    """Whether any cell of the floor has no pixel that shows its middle."""
    rows, cols = np.nonzero(surface.inside)
    xy = (np.stack([cols, rows], axis=1) + 0.5) * surface.cell_mm + surface.origin_mm
    at = np.floor((xy - picture.origin_mm) / picture.pixel_mm).astype(np.int64)
    high = np.array(picture.tone.shape[::-1])
    on = ((at >= 0) & (at < high)).all(axis=1)
    return bool((~on).any() or np.isnan(picture.tone[at[on, 1], at[on, 0]]).any())


def _caption(picture: FloorPicture, grid_mm: float) -> str:
    seen = picture.source_mm[np.isfinite(picture.source_mm)]
    each = "photo pixel" if picture.kind == "photos" else "point"
    finest = f"; on half of it one {each} covers {said.thickness(float(np.median(seen)))} or less" if seen.size else ""
    return (
        f"{_MADE_OF[picture.kind]}, {said.about(picture.pixel_mm)} of floor for each pixel{finest}. "
        f"Grid {wording.reach(grid_mm)}. Joints have the names they have in joints.csv."
    )
