"""Where, when and by whom: ``[place]``, ``[visit]``, the ``[room]`` as a tape found it, and every ``[[note]]``."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.sources.survey.keys import section_of, sections_of
from flatscan.sources.survey.map_places import outline_mm, place_mm
from flatscan.sources.survey.site import Note, Visit
from flatscan.sources.survey.values import day, long_text, texts

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.sources.survey.section import Section

#: An address may take more room than a name.
_ADDRESS_LETTERS = 200


def read_visit(top: Section) -> Visit:
    """``[place]`` and ``[visit]``."""
    place = section_of(top, "place")
    visit = section_of(top, "visit")
    return Visit(
        place=place.text("name") or "",
        address=place.text("address", most=_ADDRESS_LETTERS) or "",
        room=place.text("room") or "",
        client=place.text("client") or "",
        reference=place.text("reference") or "",
        date=day(visit, "date"),
        measured_by=visit.text("measured_by") or "",
        firm=visit.text("firm") or "",
        instruments=texts(visit, "instruments"),
        notes=long_text(visit, "notes") or "",
    )


def read_room(top: Section) -> NDArray[np.float64] | None:
    """``[room]``: its corners, (k, 2) float64 mm, not closed; None where they are not recorded."""
    return outline_mm(section_of(top, "room"), "outline", "room")


def read_notes(top: Section) -> tuple[Note, ...]:
    """Every ``[[note]]``."""
    return tuple(_note(section) for section in sections_of(top, "note"))


def _note(section: Section) -> Note:
    text = long_text(section, "text")
    if text is None:
        raise section.refuse("text is missing", 'Write what is to be remembered: text = "..."')
    return Note(text, place_mm(section, "at"))
