"""How long work tells a person where it is. The stages take a ``Progress``; the CLI draws it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

T = TypeVar("T")


class Progress(Protocol):
    """Wraps a loop; ``total`` counts its steps when it is known."""

    def track(self, items: Iterable[T], *, label: str, total: int | None = None) -> Iterator[T]:
        """Yield each item, showing ``label`` and how far the loop is."""
        ...


class Silent:
    """Shows nothing: the default in the library and in tests."""

    def track(self, items: Iterable[T], *, label: str, total: int | None = None) -> Iterator[T]:
        """Yield each item."""
        del label, total
        yield from items


SILENT: Progress = Silent()
