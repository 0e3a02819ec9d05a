"""What the sheet says of itself, on paper and on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.sheet import shown

if TYPE_CHECKING:
    from flatscan.sheet.layout import Layout
    from flatscan.sheet.predicted import Choice, Expected, Outlook
    from flatscan.sheet.request import SheetRequest
    from flatscan.units import UnitSystem


def room_text(request: SheetRequest) -> str:
    """``5.00 m x 4.00 m``, or the area and greatest sides of another shape."""
    sides = [shown.side(length, request.units) for length in request.room.size_mm or request.room.extent_mm]
    size = " × ".join(sides)
    return size if request.room.size_mm else f"{len(request.room.outline_mm)} corners, within {size}"


def tasks_text(placements: int, staff: int) -> str:
    """How much there is to read.

    >>> tasks_text(31, 9), tasks_text(1, 0), tasks_text(0, 30)
    ('31 placements and 9 staff readings', '1 placement', '30 staff readings')
    """
    parts = []
    if placements:
        parts.append(f"{placements} placement{'s' if placements > 1 else ''}")
    if staff:
        parts.append(f"{staff} staff reading{'s' if staff > 1 else ''}")
    return " and ".join(parts)


def expected_text(expected: Expected, units: UnitSystem) -> str:
    """What u the readings will give, on an ordinary floor and on a rough one."""
    usual = (shown.small(v, units) for v in (expected.median_mm, expected.worst_mm))
    rough = (shown.small(v, units) for v in (expected.rough_median_mm, expected.rough_worst_mm))
    return (
        "Heights of an ordinary old floor will be known with u = {} ({} or better on 95 % of it), of a rough one with "
        "u = {} ({}). u is one standard uncertainty: 19 of 20 heights lie within 2 u."
    ).format(*usual, *rough)


def wave_text(found: Outlook, request: SheetRequest) -> str:
    """The smallest wave, and bends of room size that will stay unseen."""
    wave = shown.side(found.smallest_wave_mm, request.units)
    text = f"Waves shorter than {wave} (three spacings) can slip between the readings"
    if not found.unseen:
        return f"{text}; twist and other bends of room size will be seen."
    names = ", ".join(mode.name for mode in found.unseen)
    return f"{text}. It will not see: {names}; add {found.unseen[0].cure}."


def choice_text(choice: Choice, layout: Layout, units: UnitSystem) -> str:
    """What to change, what it costs and gives.

    ``Half the spacing: 31 placements more, 16 staff readings more: u = 0.3 mm (rough floor 0.4 mm).``
    """
    changes = [
        _change_text(choice.placements - len(layout.placements), "placement"),
        _change_text(choice.staff - len(layout.staff), "staff reading"),
    ]
    usual, rough = (shown.small(v, units) for v in (choice.expected.median_mm, choice.expected.rough_median_mm))
    how = ", ".join(change for change in changes if change) or "as many readings"
    return f"{choice.text[0].upper()}{choice.text[1:]}: {how}: u = {usual} (rough floor {rough})."


def _change_text(change: int, noun: str) -> str:
    if change == 0:
        return ""
    return f"{abs(change)} {noun}{'s' if abs(change) > 1 else ''} {'more' if change > 0 else 'fewer'}"


def summary(request: SheetRequest, layout: Layout, found: Outlook) -> str:
    """What the terminal says once the sheet is written."""
    tasks = tasks_text(len(layout.placements), len(layout.staff))
    lines = [
        f"Field sheet for a room of {room_text(request)}: {tasks}, {layout.readings} numbers to write down.",
        expected_text(found.expected, request.units),
        wave_text(found, request),
        "Other layouts:",
        *(f"  {choice_text(choice, layout, request.units)}" for choice in found.choices),
    ]
    return "\n".join(lines if found.choices else lines[:-1])
