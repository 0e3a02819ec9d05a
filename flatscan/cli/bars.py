"""Progress bars on standard error, for a person who waits."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from typing import TypeVar

T = TypeVar("T")


class Bars:
    """A ``Progress`` that draws one bar per loop with rich; silent when standard error is not a terminal."""

    def track(self, items: Iterable[T], *, label: str, total: int | None = None) -> Iterator[T]:
        """Yield each item, moving the bar."""
        if not sys.stderr.isatty():
            yield from items
            return
        from rich.console import Console
        from rich.progress import track

        yield from track(
            items, description=label, total=total, console=Console(stderr=True), transient=True, update_period=0.2
        )
