"""Printed pages: a template of ours, filled with data and set by the typst library."""

from __future__ import annotations

import json
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping


def typeset(template: Path, data: Mapping[str, Any]) -> bytes:
    """A PDF of ``template``, which may import what lies in its folder and finds ``data`` in ``sys.inputs.data``.

    The data travel as JSON and are never run as code; fonts are embedded; two runs agree byte for byte.
    """
    import typst

    pages: bytes = typst.compile(
        str(template),
        root=str(template.parent),
        font_paths=_font_folders(),
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
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
