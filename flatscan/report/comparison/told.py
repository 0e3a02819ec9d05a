"""What page and printed record say alike, as plain texts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan import said
from flatscan.report.comparison import words
from flatscan.report.result.result import versions
from flatscan.report.words import places, wording

if TYPE_CHECKING:
    from flatscan.report.comparison.run import ComparisonRun

_MOST_SPOTS = 30


def told(run: ComparisonRun, *, most_spots: int = _MOST_SPOTS) -> dict[str, Any]:
    """Lists and dicts of texts; verdicts are their words in the program, to be drawn as the output does."""
    spots = run.found.open_spots
    more = len(spots) - most_spots
    return {
        "headline": words.headline(run),
        "front": [words.floor_line(run), *words.volume_lines(run)],
        "steps": words.next_steps(run),
        "areas": _areas(run),
        "spots": [
            {
                "verdict": spot.verdict,
                "what": words.open_parts(spot)[0],
                "before": words.history(spot),
                "place": words.where(spot),
            }
            for spot in spots[:most_spots]
        ],
        "more_spots": f"{more} more are in open_spots.csv" if more > 0 else "",
        "nothing_open": words.NOTHING_OPEN,
        "untold": words.untold_lines(run),
        "frame": places.FRAME_TEXT,
        "changes": words.change_lines(run),
        "how": words.how_lines(run),
        "results": _results(run),
        "made_with": ", ".join(f"{name} {version}" for name, version in versions().items()),
        "picture_alt": f"Map of the difference after minus before. {words.headline(run)}",
    }


def _areas(run: ComparisonRun) -> list[dict[str, str]]:
    rows = []
    for area in run.found.areas:
        edge, before, now = words.gap_cells(area)
        rows.append(
            {
                "number": str(area.planned.number),
                "verdict": area.verdict,
                "edge": edge,
                "before": before,
                "now": now,
                "placed": words.placed_cell(area),
                "planned": wording.litres(area.planned.volume_l),
                "thickest": words.thick_cell(area),
                "most": said.thickness(area.planned.max_mm),
            }
        )
    return rows


def _results(run: ComparisonRun) -> list[dict[str, str]]:
    return [
        {
            "when": when,
            "name": source.name,
            "captures": ", ".join(source.captures),
            "limits": ", ".join(measured.limit_ids),
            "result": source.result_sha256,
            "floor": source.floor_sha256,
        }
        for when, source, measured in (
            ("Before", run.from_before, run.before),
            ("After", run.from_after, run.after),
        )
    ]
