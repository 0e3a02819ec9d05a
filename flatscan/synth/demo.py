"""Write one invented capture with its truth beside it: what ``flatscan demo`` checks."""

from __future__ import annotations

import json
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.progress import SILENT
from flatscan.synth.hand.recordings import record_straightedge
from flatscan.synth.recordings import Recording, record_laser, record_levels, record_mesh, record_phone
from flatscan.synth.rooms import bathroom, dining_room, hall, kitchen, living_room, tiled_bathroom
from flatscan.synth.tile_captures import capture_tiles
from flatscan.synth.truth import true_heights, true_joints

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from flatscan.progress import Progress
    from flatscan.synth.floor import InventedFloor
    from flatscan.synth.scene import Scene

_TRUTH_CELL_MM = 10.0

#: Kind of capture: the room, and who records it.
_KINDS: dict[
    str,
    tuple[Callable[[np.random.Generator], Scene], Callable[[Path, Scene, np.random.Generator], Recording]],
] = {
    "laser": (hall, record_laser),
    # Without photos: they take most of the time, and this is to be looked at, not kept.
    "phone": (kitchen, partial(record_phone, photos=False)),
    "mesh": (bathroom, record_mesh),
    "levels": (living_room, record_levels),
    "straightedge": (dining_room, record_straightedge),
    # Half a millimetre a pixel: coarser photos show no width of a common joint.
    "tiles": (tiled_bathroom, partial(capture_tiles, height_mm=600.0, overlap=0.2)),
}
KINDS: tuple[str, ...] = tuple(_KINDS)


def write_demo(folder: Path, *, kind: str = "laser", seed: int, progress: Progress = SILENT) -> Path:
    """Invent a room, record it, and write ``truth.json`` and ``truth.npz`` beside the capture.

    Parameters
    ----------
    folder : made if it is missing
    kind : "laser" (a bare L-shaped hall), "phone" (an old tiled kitchen, posed depth frames), "mesh"
        (a bathroom), "levels" (a living room), "straightedge" (an old tiled dining room, read by hand) or
        "tiles" (a tiled bathroom, close photos with depth)
    seed : the same seed gives the same floor and the same errors

    Returns
    -------
    Path
        the capture itself, within ``folder / "capture"``: a file or folder to give to ``flatscan check``
    """
    if kind not in _KINDS:
        raise ValueError(f"kind must be one of {', '.join(KINDS)}, not {kind!r}")
    room, record = _KINDS[kind]
    room_rng, record_rng = np.random.default_rng(seed).spawn(2)
    steps = progress.track(range(3), label="inventing and recording a room", total=3)
    next(steps)
    scene = room(room_rng)
    next(steps)
    recording = record(folder / "capture", scene, record_rng)
    next(steps)
    _write_truth(folder, scene.floor, recording, {"kind": kind, "room": room.__name__, "seed": seed})
    next(steps, None)
    return recording.path


def _write_truth(folder: Path, floor: InventedFloor, recording: Recording, about: dict[str, Any]) -> None:
    """``truth.npz``: x_mm (cols,), y_mm (rows,), height_mm and face_mm (rows, cols), room frame, NaN outside."""
    heights = true_heights(floor, _TRUTH_CELL_MM)
    np.savez_compressed(
        folder / "truth.npz",
        x_mm=heights.x_mm,
        y_mm=heights.y_mm,
        height_mm=heights.height_mm.astype(np.float32),
        face_mm=heights.face_mm.astype(np.float32),
    )
    content = {
        "note": "An invented room: every figure here is exact. Lengths in mm, room frame, z up.",
        **about,
        "capture": recording.path.relative_to(folder).as_posix(),
        "sensor": recording.sensor,
        "scan_from_room": recording.scan_from_room.tolist(),
        "outline_mm": floor.outline_mm.tolist(),
        "tilt": {"fall_mm_per_m": floor.tilt.fall_mm_per_m, "downhill_rad": floor.tilt.direction_rad},
        "bays": [
            {"centre_mm": bay.centre_mm, "radius_mm": bay.radius_mm, "depth_mm": bay.depth_mm, "turn_rad": bay.turn_rad}
            for bay in floor.bays
        ],
        "joints": [
            {
                "line_mm": [joint.start_mm, joint.end_mm],
                "width_mm": joint.width_mm,
                "top_width_mm": joint.top_width_mm,
                "depth_mm": joint.depth_mm,
                "lip_mm": [joint.lip_start_mm, joint.lip_end_mm],
            }
            for joint in true_joints(floor)
        ],
    }
    (folder / "truth.json").write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
