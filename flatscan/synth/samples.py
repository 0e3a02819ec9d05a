"""Write all sample captures again, from their seeds: ``python -m flatscan.synth.samples FOLDER``."""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from flatscan.synth import recordings, rooms, tile_captures
from flatscan.synth.hand import recordings as hand
from flatscan.synth.tile_photo import Lens

if TYPE_CHECKING:
    from collections.abc import Callable

    from flatscan.synth.recordings import Recording
    from flatscan.synth.scene import Scene

SEED = 20_260_115

_FRONT = """# Sample captures

Every room here is invented: the floors were made by `flatscan.synth`, whose truth is known exactly, and
seen through its sensor models. No real place, person or device is in them. Written by

    python -m flatscan.synth.samples sample_scans

with seed {seed}; the same package versions give the same bytes. Try `flatscan check sample_scans/{first}`.

"""

#: Folder: room, recorder, and the line for its README.
_SAMPLES: dict[
    str,
    tuple[
        Callable[[np.random.Generator], Scene],
        Callable[[Path, Scene, np.random.Generator], Recording],
        str,
    ],
] = {
    "old_tiled_kitchen": (
        rooms.kitchen,
        recordings.record_phone,
        "posed depth frames of an old tiled kitchen, 3.4 × 2.6 m: a dip of 6.5 mm over 1.5 m, lips of 1 to 2.5 mm",
    ),
    "large_hall_laser": (
        rooms.hall,
        recordings.record_laser,
        "laser cloud (LAZ, two stations) of an L-shaped hall, 9 × 6 m: one low bay of 5 mm, furniture, a column",
    ),
    "bathroom_mesh": (
        rooms.bathroom,
        recordings.record_mesh,
        "mesh (GLB) of a tiled bathroom, 2.4 × 1.9 m, that falls 12 mm/m to its drain",
    ),
    "living_room_levels": (
        rooms.living_room,
        recordings.record_levels,
        "staff readings on a 0.5 m grid of a living room, 5.5 × 4.2 m, mostly within limits",
    ),
    "hallway_cloud": (
        rooms.hallway,
        recordings.record_text_cloud,
        "cloud as text with decimal commas of a hallway, 4.5 × 1.3 m, with a 4 mm hump across it",
    ),
    "tiled_bathroom_photos": (
        rooms.tiled_bathroom,
        # A pixel is half a millimetre: eight across the common joint.
        partial(
            tile_captures.capture_tiles,
            height_mm=650.0,
            photo_size=(1600, 1200),
            overlap=0.2,
            lens=Lens(blur_px=0.8, noise=1.5),
            jpeg_quality=85,
        ),
        "close photos with depth of an old tiled bathroom, 2.2 × 1.7 m: joints up to 8 mm, lips up to 2 mm, a repair",
    ),
    "dining_room_straightedge": (
        rooms.dining_room,
        hand.record_straightedge,
        "2 m straightedge in rows both ways and diagonals, staff and joints of a tiled dining room, 4.6 × 3.6 m",
    ),
    "shop_floor_levels": (
        rooms.shop_floor,
        hand.record_level_lines,
        "levels every 300 mm along named lines of a shop floor, 9.6 × 8.4 m, from two set-ups with common points",
    ),
    "basement_feet_inches": (
        rooms.basement,
        hand.record_feet_and_inches,
        "6 ft straightedge and staff readings of a basement, 18 × 13 ft, in feet, inches and fractions",
    ),
}
NAMES: tuple[str, ...] = tuple(_SAMPLES)
#: What lies beside a capture and was written by hand, not by the seed.
_BESIDE: dict[str, str] = {
    "old_tiled_kitchen": (
        "Beside the capture, invented too: `survey.toml`, what a person found on site, with some things left out on "
        "purpose; `product.toml`, a levelling compound; `site/hollow_tile.jpg`, frame 032 with a cross of chalk drawn "
        "on a tile, as a photo for the record."
    ),
    "shop_floor_levels": (
        "Beside the readings, invented too: `survey.toml`, of bare concrete before vinyl is glued to it."
    ),
    "dining_room_straightedge": "Beside the readings, invented too: `survey.toml`, in which little is recorded.",
}


def write_sample(folder: Path, name: str) -> Recording:
    """Write one sample into ``folder / name``, with its README."""
    room, record, line = _SAMPLES[name]
    # The sample's place in the list keeps its chance apart from the others'.
    room_rng, record_rng = np.random.default_rng([SEED, NAMES.index(name)]).spawn(2)
    target = folder / name
    target.mkdir(parents=True, exist_ok=True)
    recording = record(target, room(room_rng), record_rng)
    beside = f"\n{_BESIDE[name]}\n" if name in _BESIDE else ""
    (target / "README.md").write_text(f"Invented, not a real room: {line}.\n{beside}", encoding="utf-8")
    return recording


def write_all(folder: Path) -> None:
    """Write every sample and the README that lists them."""
    lines = [_FRONT.format(seed=SEED, first=NAMES[0])]
    for name in NAMES:
        recording = write_sample(folder, name)
        where = recording.path.relative_to(folder)
        lines.append(f"- `{where.as_posix()}`: {_SAMPLES[name][2]}.\n")
    (folder / "README.md").write_text("".join(lines), encoding="utf-8")


if __name__ == "__main__":
    write_all(Path(sys.argv[1]))
