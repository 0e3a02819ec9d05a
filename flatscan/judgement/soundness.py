"""What tapping and looking told of the old floor's soundness, as far as a person wrote it down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.judgement.readiness.site_limits import site_limits
from flatscan.said import counted, length, pair, tape_unit
from flatscan.sources.hand.field_readings import Sounding

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.sources.hand.field_readings import Crack, FieldReadings, SoundsLike
    from flatscan.sources.survey.site import SeenCrack, Tapped
    from flatscan.sources.survey.survey import Survey

_SHARE_RULE = site_limits().rule("hollow_share_most")
#: Above this share of a room's area the whole covering comes up, below it only the bad tiles.
MOST_HOLLOW_SHARE = _SHARE_RULE.figure
_RULE = f"{_SHARE_RULE.source.document}, as restated by a floor maker,"
#: One bad place of fewer taps is more than a tenth by itself: they tell no share.
LEAST_TAPS = 10
_MOST_PLACES = 4


@dataclass(frozen=True, slots=True)
class Soundness:
    """Taps and cracks as they were recorded, those of the field sheet and of the survey file together.

    ``hollow``, ``loose``: those whose place is known (row 0: from the survey file). ``hollow_elsewhere``,
    ``loose_elsewhere``: how many more were counted. ``seen_cracks``: those of the survey file. ``counted``: False where
    bad ones were written down and nobody said of how many; then ``tapped`` is not all.
    """

    tapped: int
    hollow: tuple[Sounding, ...]
    loose: tuple[Sounding, ...]
    cracks: tuple[Crack, ...]
    hollow_elsewhere: int = 0
    loose_elsewhere: int = 0
    seen_cracks: tuple[SeenCrack, ...] = ()
    counted: bool = True

    @classmethod
    def of(cls, field: FieldReadings | None, survey: Survey | None = None) -> Soundness | None:
        """From what was written down on site; None where neither a tap nor a crack was."""
        soundings = () if field is None else field.soundings
        cracks = () if field is None else field.cracks
        tapped = None if survey is None else survey.site.sound.tapped
        seen = () if survey is None else survey.site.sound.cracks
        if not (soundings or cracks or seen or tapped is not None):
            return None
        hollow, more_hollow = _of_survey(tapped, "hollow")
        loose, more_loose = _of_survey(tapped, "loose")
        bad = len(hollow) + len(loose) + more_hollow + more_loose
        tiles = 0 if tapped is None or tapped.tiles is None else tapped.tiles
        return cls(
            tapped=len(soundings) + max(tiles, bad),
            hollow=(*(s for s in soundings if s.sounds == "hollow"), *hollow),
            loose=(*(s for s in soundings if s.sounds == "loose"), *loose),
            cracks=cracks,
            hollow_elsewhere=more_hollow,
            loose_elsewhere=more_loose,
            seen_cracks=seen,
            counted=not bad or tiles >= bad,
        )

    @property
    def bad(self) -> tuple[Sounding, ...]:
        """Places that sound hollow or loose."""
        return self.hollow + self.loose

    @property
    def bad_count(self) -> int:
        """All that sound hollow or loose, also those without a place."""
        return len(self.bad) + self.hollow_elsewhere + self.loose_elsewhere

    @property
    def bad_share(self) -> float | None:
        """Bad ones of those tapped, 0 to 1; None where too few were tapped, or nobody said how many."""
        return self.bad_count / self.tapped if self.counted and self.tapped >= LEAST_TAPS else None

    @property
    def crack_count(self) -> int:
        """Cracks of both files."""
        return len(self.cracks) + len(self.seen_cracks)

    @property
    def to_settle(self) -> str:
        """What must be settled before anything is laid: ``3 hollow or loose places and 1 crack``; "" for nothing."""
        cracks = counted(self.crack_count, "crack") if self.crack_count else ""
        return " and ".join(part for part in (self.bad_places, cracks) if part)

    @property
    def bad_places(self) -> str:
        """``3 hollow or loose places``; "" for none."""
        if not self.bad_count:
            return ""
        hollow, loose = len(self.hollow) + self.hollow_elsewhere, len(self.loose) + self.loose_elsewhere
        kinds = " or ".join(name for name, found in (("hollow", hollow), ("loose", loose)) if found)
        return counted(self.bad_count, f"{kinds} place")


def soundness_reasons(sound: Soundness | None) -> list[str]:
    """What was heard and seen, with the rule for how much hollow is too much."""
    if sound is None:
        return []
    reasons = []
    if sound.tapped:
        reasons.append(_tapped(sound))
    if sound.crack_count:
        ends = [f"from {pair(c.start)} to {pair(c.end)}{_width(c)}" for c in sound.cracks]
        ends += [f"from {pair(c.line_mm[0])} to {pair(c.line_mm[-1])}{_seen_width(c)}" for c in sound.seen_cracks]
        moves = [None] * len(sound.cracks) + [c.moves for c in sound.seen_cracks]
        which = "it moves" if sound.crack_count == 1 else "they move"
        known = None not in moves
        todo = "" if known else f": find out whether {which} before anything goes over"
        reasons.append(
            f"{counted(sound.crack_count, 'crack')} recorded: {', '.join(ends[:_MOST_PLACES])}{_more(ends)} "
            f"({tape_unit()} from the left and the bottom wall){todo}"
        )
    return reasons


def _of_survey(tapped: Tapped | None, sounds: SoundsLike) -> tuple[tuple[Sounding, ...], int]:
    """The places of one kind that the survey file names, and how many more it counts."""
    if tapped is None:
        return (), 0
    at = tapped.hollow_at_mm if sounds == "hollow" else tapped.loose_at_mm
    number = tapped.hollow if sounds == "hollow" else tapped.loose
    return tuple(Sounding(0, "", place, sounds) for place in at), max(0, (number or 0) - len(at))


def _tapped(sound: Soundness) -> str:
    bad, tapped = sound.bad_count, f"{counted(sound.tapped, 'place')} tapped"
    if not bad:
        return f"{tapped}, none hollow or loose; what lies between was not tapped"
    places = [f"{s.sounds} at {pair(s.at)}" for s in sound.bad[:_MOST_PLACES]]
    verb = "sounds" if bad == 1 else "sound"
    share, tenth = sound.bad_share, "a tenth of a room's area"
    if share is None:
        rule = f"Tap at least {LEAST_TAPS} places, better every tile: above {tenth} {_RULE} take the whole covering up"
    elif share > MOST_HOLLOW_SHARE:
        rule = f"By places that is {100 * share:.0f} %: above {tenth} {_RULE} take the whole covering up"
    else:
        rule = f"By places that is {100 * share:.0f} %: up to {tenth} {_RULE} take out the bad tiles only"
    of = f"{bad} of {tapped}" if sound.counted else f"{counted(bad, 'place')} tapped"
    where = (
        f": {', '.join(places)}{_more(sound.bad)} ({tape_unit()} from the left and the bottom wall)" if places else ""
    )
    return f"{of} {verb} hollow or loose{where}. {rule}"


def _more(found: Sequence[object]) -> str:
    return f" and {len(found) - _MOST_PLACES} more" if len(found) > _MOST_PLACES else ""


def _width(crack: Crack) -> str:
    return "" if crack.width is None else f", {crack.width.size_text()} wide"


def _seen_width(crack: SeenCrack) -> str:
    return "" if crack.width_mm is None else f", {length(crack.width_mm)} wide"
