"""What tapping and looking told of the old floor's soundness, as far as a person wrote it down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.constants import MM_PER_M

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.verdict import Point
    from flatscan.sources.hand.field_readings import Crack, FieldReadings, Sounding

#: Above this share of a room's area the whole covering comes up, below it only the bad tiles: French renovation rules,
#: CSTB Cahier 3635_V2 (November 2012), read on a page that restates them.
MOST_HOLLOW_SHARE = 0.10
_RULE = "French renovation rules (CSTB Cahier 3635_V2, as restated by a floor maker)"
#: One bad place of fewer taps is more than a tenth by itself: they tell no share.
_LEAST_TAPS = 10
_MOST_PLACES = 4


@dataclass(frozen=True, slots=True)
class Soundness:
    """Taps and cracks as they were recorded."""

    tapped: int
    hollow: tuple[Sounding, ...]
    loose: tuple[Sounding, ...]
    cracks: tuple[Crack, ...]

    @classmethod
    def of(cls, field: FieldReadings | None) -> Soundness | None:
        """From what was written down on site; None where neither a tap nor a crack was."""
        if field is None or not (field.soundings or field.cracks):
            return None
        by_sound = {sound: tuple(s for s in field.soundings if s.sounds == sound) for sound in ("hollow", "loose")}
        return cls(len(field.soundings), by_sound["hollow"], by_sound["loose"], field.cracks)

    @property
    def bad(self) -> tuple[Sounding, ...]:
        """Places that sound hollow or loose."""
        return self.hollow + self.loose

    @property
    def to_settle(self) -> str:
        """What must be settled before anything is laid: ``3 hollow or loose places and 1 crack``; "" for nothing."""
        kinds = " or ".join(name for name, found in (("hollow", self.hollow), ("loose", self.loose)) if found)
        parts = [f"{_count(len(self.bad), f'{kinds} place')}"] if self.bad else []
        parts += [_count(len(self.cracks), "crack")] if self.cracks else []
        return " and ".join(parts)


def soundness_reasons(sound: Soundness | None) -> list[str]:
    """What was heard and seen, with the rule for how much hollow is too much."""
    if sound is None:
        return []
    reasons = []
    if sound.tapped:
        reasons.append(_tapped(sound))
    if sound.cracks:
        ends = [f"from {_at(c.start)} to {_at(c.end)}{_width(c)}" for c in sound.cracks[:_MOST_PLACES]]
        more = _more(sound.cracks)
        which = "it moves" if len(sound.cracks) == 1 else "they move"
        reasons.append(
            f"{_count(len(sound.cracks), 'crack')} recorded: {', '.join(ends)}{more} (metres from the left and the "
            f"bottom wall): find out whether {which} before anything goes over"
        )
    return reasons


def not_recorded(sound: Soundness | None) -> str:
    """What nobody wrote down and no height shows; always the last reason."""
    missing = ["dryness"]
    missing += ["soundness"] if sound is None or not sound.tapped else []
    missing += ["cracks"] if sound is None or not sound.cracks else []
    named = missing[0] if len(missing) == 1 else f"{', '.join(missing[:-1])} and {missing[-1]}"
    one = len(missing) == 1
    return f"{named.capitalize()} {'is' if one else 'are'} not recorded: check {'it' if one else 'them'} before laying"


def _tapped(sound: Soundness) -> str:
    bad = sound.bad
    if not bad:
        return f"{_count(sound.tapped, 'place')} tapped, none hollow or loose; what lies between was not tapped"
    places = [f"{s.sounds} at {_at(s.at)}" for s in bad[:_MOST_PLACES]]
    verb = "sounds" if len(bad) == 1 else "sound"
    share, tenth = len(bad) / sound.tapped, "a tenth of a room's area"
    if sound.tapped < _LEAST_TAPS:
        rule = f"Tap at least {_LEAST_TAPS} places, better every tile: above {tenth} {_RULE} take the whole covering up"
    elif share > MOST_HOLLOW_SHARE:
        rule = f"By places that is {100 * share:.0f} %: above {tenth} {_RULE} take the whole covering up"
    else:
        rule = f"By places that is {100 * share:.0f} %: up to {tenth} {_RULE} take out the bad tiles only"
    return (
        f"{len(bad)} of {sound.tapped} places tapped {verb} hollow or loose: {', '.join(places)}{_more(bad)} (metres "
        f"from the left and the bottom wall). {rule}"
    )


def _more(found: Sequence[object]) -> str:
    return f" and {len(found) - _MOST_PLACES} more" if len(found) > _MOST_PLACES else ""


def _width(crack: Crack) -> str:
    return "" if crack.width is None else f", {crack.width.size_text()} wide"


def _at(at: Point) -> str:
    return f"({at[0] / MM_PER_M + 0.0:.2f}, {at[1] / MM_PER_M + 0.0:.2f})"


def _count(number: int, name: str) -> str:
    return f"{number} {name}{'' if number == 1 else 's'}"
