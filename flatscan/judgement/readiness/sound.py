"""Soundness, cracks, cleanliness and movement joints: what tapping and looking told, as conditions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.judgement.readiness.asked import Asked, condition, joined, worst_of
from flatscan.judgement.readiness.old_covering import BARE, with_care
from flatscan.judgement.readiness.site_limits import site_limits
from flatscan.judgement.soundness import LEAST_TAPS
from flatscan.said import counted

if TYPE_CHECKING:
    from flatscan.judgement.readiness.readiness import Condition, ConditionWord
    from flatscan.judgement.soundness import Soundness
    from flatscan.sources.survey.site import OldCovering, Sound
    from flatscan.sources.survey.survey import Survey

_TAP = f"Tap every tile, and at least {LEAST_TAPS}, with a rod and write down how many sound hollow or are loose"
_LEAVE = "A licensed firm decides what is done with it"
_TAP_BARE = f"Tap all over it, in at least {LEAST_TAPS} places, with a rod and write down how many sound hollow"
#: Floors without a covering that could be hollow or loose.
_BARE = ("screed", "concrete")
_BARRED = "Find out whether {it} moves (a dab of plaster across it that breaks), and have what moves dealt with first"


def sound(soundness: Soundness | None, site: Sound, old: OldCovering) -> Condition:
    """In order where at least ten places were tapped, none of them hollow or loose, and pull-off is not too low.

    Up to a tenth bad only those tiles come out, above it the whole covering; either way it is not in order before. A
    pull-off test tells of the base's own strength at a few places: without taps it settles only bare screed and
    concrete, of which nothing can come loose.
    """
    share = site_limits().rule("hollow_share_most")
    text = "nothing hollow or loose"
    if old.kind not in BARE:
        text += f"; up to {100 * share.figure:.0f} % {share.unit} the bad tiles come out, above it all"
    taps = _taps(soundness, share.figure, old)
    asked = Asked.by(share, text)
    if site.pull_off_n_per_mm2 is None:
        word, told, advice, short = taps
        return condition("sound", word, asked, recorded=told, advice=advice, short=short)
    rule = site_limits().rule("pull_off_least")
    strong = f"at least {rule.figure:.1f} {rule.unit}"
    asked = joined(f"{asked.text}; pull-off {strong}", Asked.of(share.source, ""), Asked.of(rule.source, rule.conflict))
    told = f"pull-off {site.pull_off_n_per_mm2:g} {rule.unit} (± not stated)"
    if site.pull_off_n_per_mm2 < rule.figure:
        weak = "Take the weak layer off or have it made firm, and test again"
        one: _Told = ("not_met", told, weak, f"strength ({site.pull_off_n_per_mm2:g} {rule.unit}, {strong})")
    else:
        one = ("met", told, "", "")
    both = [one, taps]
    if taps[0] == "not_recorded":
        both = [one] if old.kind in _BARE else [one, ("open", "not tapped", _tap(old), "")]
    wanting = [part for part in both if part[0] != "met"]
    return condition(
        "sound",
        worst_of(part[0] for part in both),
        asked,
        recorded="; ".join(part[1] for part in both),
        advice=". ".join(part[2] for part in wanting),
        short=", ".join(part[3] for part in wanting if part[3]),
    )


#: Word, what was recorded, advice, and what is to be settled.
_Told = tuple["ConditionWord", str, str, str]


def _taps(soundness: Soundness | None, most_share: float, old: OldCovering) -> _Told:
    if soundness is None or not (soundness.tapped or soundness.bad_count):
        return "not_recorded", "", _tap(old), ""
    bad, tapped, share = soundness.bad_count, soundness.tapped, soundness.bad_share
    told = (
        f"{counted(tapped, 'place')} tapped, {bad or 'none'} hollow or loose"
        if soundness.counted
        else soundness.bad_places
    )
    if not bad:
        if tapped < LEAST_TAPS:
            return "open", told, f"Too few to tell. {_tap(old)}", ""
        return "met", f"{told}; what lies between was not tapped", "", ""
    told += "" if share is None else f" ({100 * share:.0f} %)"
    return "not_met", told, _mend(share, most_share, old), soundness.bad_places


def _mend(share: float | None, most_share: float, old: OldCovering) -> str:
    """What to do about what is bad, by its share of what was tapped."""
    if old.kind in BARE:
        return with_care("Break out what is hollow and fill it, tap around it again and write it down", old, _LEAVE)
    if share is None:
        advice = with_care("Take out or fix what is bad", old, _LEAVE)
        return f"{advice}. {_TAP}: their share says whether all must come up"
    if share > most_share:
        return with_care("Take the whole covering up, then measure the base", old, _LEAVE)
    advice = "Take out the bad tiles, fill what is taken out, tap around it again and write down how it sounds then"
    return with_care(advice, old, _LEAVE)


def _tap(old: OldCovering) -> str:
    return _TAP_BARE if old.kind in BARE else _TAP


def crack_free(soundness: Soundness | None, site: Sound) -> Condition:
    """In order only where somebody looked and found none; cracks that move must be dealt with first.

    One that does not move is still told to the layer, and one of which nobody knows must be watched: both are open.
    """
    rule = site_limits().rule("cracks")
    asked = Asked.by(rule, "no crack that moves")
    if soundness is None or not soundness.crack_count:
        if site.cracks_looked_for:
            return condition("crack_free", "met", asked, recorded="looked for, none found")
        look = "Look over the whole floor for cracks and write down those found, or that there are none"
        return condition("crack_free", "not_recorded", asked, advice=look)
    moves = [*(crack.moves for crack in soundness.seen_cracks), *(None for _ in soundness.cracks)]
    number, moving, still = soundness.crack_count, moves.count(True), moves.count(False)
    word: ConditionWord = "not_met" if moving else "open"
    if moving:
        advice = "Have the cause found and dealt with: compound and covering crack with what moves"
    elif still == number:
        advice = (
            "Cracks that do not move: clean and fill or tie them as the product's data sheet says, then note it here"
        )
    else:
        advice = _BARRED.format(it="it" if number == 1 else "each")
    return condition(
        "crack_free",
        word,
        asked,
        recorded=f"{_named(soundness)}: {_whether(moving, still, number)}",
        advice=advice,
        short=f"{counted(moving, 'moving crack')}" if moving else counted(number, "crack"),
    )


def _named(soundness: Soundness) -> str:
    """``2 cracks (crack at the hall door)``."""
    names = [crack.name for crack in soundness.seen_cracks if crack.name]
    return counted(soundness.crack_count, "crack") + (f" ({', '.join(names)})" if names else "")


def _whether(moving: int, still: int, number: int) -> str:
    """What is known of all of them, in words."""
    unknown = number - moving - still
    if number == 1:
        return "it moves" if moving else "it does not move" if still else "nobody knows whether it moves"
    told = [f"{moving} {'moves' if moving == 1 else 'move'}"] * bool(moving)
    told += [f"{still} {'does' if still == 1 else 'do'} not move"] * bool(still)
    told += [f"of {unknown} nobody knows whether {'it moves' if unknown == 1 else 'they move'}"] * bool(unknown)
    return ", ".join(told)


def clean(site: Sound, old: OldCovering) -> Condition:
    """In order where it was found clean and nothing that keeps glue or compound from holding was named."""
    rule, drop = site_limits().rule("clean"), site_limits().rule("water_drop")
    asked = Asked.by(rule, "free of grease, wax, paint, loose glue and dust")
    clean_it = (
        f"Take it off and degrease. Where a drop of water still stands after {drop.figure:g} {drop.unit} the floor is "
        "dense: prime it as the data sheet says"
    )
    if old.asbestos == "found":
        clean_it = (
            "Leave scraping, sanding and grinding: the old floor holds asbestos. Clean and prime only as the licensed "
            "firm and the data sheet of a method that covers it over allow"
        )
    if site.contamination:
        named = ", ".join(site.contamination)
        recorded = f"found: {named}"
        return condition("clean", "not_met", asked, recorded=recorded, advice=clean_it, short=f"cleaning ({named})")
    if site.clean is None:
        return condition(
            "clean", "not_recorded", asked, advice="Look for grease, wax, paint and old glue; write it down"
        )
    if site.clean:
        return condition("clean", "met", asked, recorded="found clean")
    return condition("clean", "not_met", asked, recorded="found not clean", advice=clean_it, short="cleaning")


def movement_joints(site: Sound, survey: Survey | None) -> Condition:
    """In order where all are carried through. A file that draws none does not say that there are none."""
    asked = Asked.by(site_limits().rule("movement_joints"), "carried through the new floor, not bridged")
    drawn = 0 if survey is None else len(survey.movement_joints_mm)
    named = f"{counted(drawn, 'movement joint')} drawn" if drawn else ""
    if site.movement_joints_carried is None:
        advice = (
            "Look for joints that go down into the base; write down that all are carried through, or that none is there"
        )
        word: ConditionWord = "open" if drawn else "not_recorded"
        return condition("movement_joints", word, asked, recorded=named, advice=advice)
    carried = site.movement_joints_carried
    told = "carried through, or none there" if carried else "bridged"
    return condition(
        "movement_joints",
        "met" if carried else "not_met",
        asked,
        recorded=", ".join(part for part in (named, told) if part),
        advice="Open them again through every layer and carry them through with a profile",
        short="movement joints (bridged)",
    )
