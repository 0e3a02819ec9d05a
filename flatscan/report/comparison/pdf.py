"""``comparison.pdf``: the comparison to sign, send and keep."""

from __future__ import annotations

import hashlib
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flatscan.report.comparison.told import told
from flatscan.report.record.pictures import fitted
from flatscan.report.record.plain import plain
from flatscan.report.record.setting import paper_name
from flatscan.report.words import wording
from flatscan.typeset import typeset

if TYPE_CHECKING:
    from flatscan.report.comparison.run import ComparisonRun

_HERE = Path(__file__).parent
_TEMPLATES = (_HERE / "comparison.typ", _HERE / "parts.typ")
_MOST_PIXELS, _MOST_BYTES, _MOST_SPOTS, _ID_SIGNS = 2000, 1_500_000, 12, 8


def comparison_pdf(run: ComparisonRun, picture_png: bytes) -> bytes:
    """Set the pages; two runs agree byte for byte. Templates and picture lie in a folder of their own meanwhile."""
    with tempfile.TemporaryDirectory(prefix="flatscan-") as made:
        folder = Path(made)
        for source in _TEMPLATES:
            (folder / source.name).write_bytes(source.read_bytes())
        picture = fitted(picture_png, most_pixels=_MOST_PIXELS, most_bytes=_MOST_BYTES, trim=True)
        (folder / "difference.png").write_bytes(picture)
        return typeset(folder / _TEMPLATES[0].name, plain(_data(run)))


def _data(run: ComparisonRun) -> dict[str, Any]:
    data = told(run, most_spots=_MOST_SPOTS)
    for row in (*data["areas"], *data["spots"]):
        row |= {"shape": wording.VERDICT_SHAPE[row["verdict"]], "word": wording.VERDICT_TEXT[row["verdict"]]}
    both = run.from_before.result_sha256 + run.from_after.result_sha256
    return data | {
        "id": hashlib.sha256(both.encode()).hexdigest()[:_ID_SIGNS],
        "paper": paper_name(run.paper),
    }
