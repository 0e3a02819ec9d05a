"""The printed pages: the template of this folder, filled with data and set by the typst library."""

from __future__ import annotations

import json
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from flatscan.sheet.page_data import page_data

if TYPE_CHECKING:
    from flatscan.sheet.layout import Layout
    from flatscan.sheet.predicted import Outlook
    from flatscan.sheet.request import SheetRequest

_HERE = Path(__file__).parent


def as_pdf(request: SheetRequest, layout: Layout, found: Outlook) -> bytes:
    """Set the pages. The data travel as JSON and are never run as code; fonts are embedded; two runs agree."""
    import typst

    data = json.dumps(page_data(request, layout, found), ensure_ascii=False)
    pages: bytes = typst.compile(
        str(_HERE / "sheet.typ"),
        root=str(_HERE),
        font_paths=_font_folders(),
        ignore_system_fonts=True,
        sys_inputs={"data": data},
        format="pdf",
    )
    return pages


def _font_folders() -> list[str]:
    """Where matplotlib, which the report needs too, keeps DejaVu Sans; without it typst's own fonts serve."""
    spec = find_spec("matplotlib")
    if spec is None or not spec.submodule_search_locations:
        return []
    folder = Path(spec.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"
    return [str(folder)] if folder.is_dir() else []
