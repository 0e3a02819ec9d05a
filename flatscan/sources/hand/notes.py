"""What was taken for granted in single rows, gathered into one sentence for each kind."""

from __future__ import annotations

_MOST_NAMED = 6


def listed(names: list[str]) -> str:
    """A list that stays short.

    >>> listed(["1", "2"]), listed(list("abcdefgh"))
    ('1, 2', 'a, b, c, d, e, f and 2 more')
    """
    more = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


class Notes:
    """Sentences with the rows they hold for, in the order they first came up."""

    def __init__(self) -> None:
        self._rows: dict[str, list[str]] = {}

    def add(self, sentence: str, number: str) -> None:
        """``sentence`` holds for the row called ``number`` too."""
        self._rows.setdefault(sentence, []).append(number)

    def sentences(self) -> tuple[str, ...]:
        """Each sentence once, with its rows."""
        return tuple(f"{sentence} ({listed(numbers)})" for sentence, numbers in self._rows.items())
