"""A figure as PNG that is not too large to send."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure


def png_of(figure: Figure, dots_per_inch: Sequence[int], most_bytes: int) -> bytes:
    """The figure at the first of these resolutions that keeps within the size, else at the last."""
    for dpi in dots_per_inch:
        buffer = io.BytesIO()
        figure.savefig(buffer, format="png", dpi=dpi, metadata={"Software": None})
        if buffer.tell() <= most_bytes:
            break
    return buffer.getvalue()
