"""What lies there now: may it hold asbestos."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.judgement.readiness.asked import Asked, condition
from flatscan.judgement.readiness.site_limits import site_limits

if TYPE_CHECKING:
    from flatscan.judgement.readiness.readiness import Condition
    from flatscan.sources.survey.site import OldCovering, OldCoveringKind, Site

TEST_FIRST = (
    "Have a laboratory test a sample of the old floor and of its glue. Until then: no grinding, breaking, lifting or "
    "drilling"
)
#: Of a floor without a covering: what is left on it of one that is gone.
TEST_GLUE = (
    "If old glue or paint is left on it, have a laboratory test a sample before it is ground, scraped or drilled"
)
#: Floors without a covering.
BARE: tuple[OldCoveringKind | None, ...] = ("screed", "concrete", "timber")
STOP = (
    "The old floor holds asbestos: never grind, sand, scrape, break, lift or drill it. A licensed firm decides whether "
    "it is covered or taken out; what stays is written down"
)


def with_care(advice: str, old: OldCovering, instead: str) -> str:
    """Advice that disturbs the old floor: only after the test; ``instead`` where asbestos was found."""
    if old.asbestos == "found":
        return f"{instead}: the old floor holds asbestos"
    return advice if old.asbestos == "none_found" or old.kind in BARE else f"{advice}. Not before the asbestos test"


def old_covering(site: Site) -> Condition:
    """In order only where a laboratory found none: looks, size and age prove nothing, so a year settles nothing.

    Bare concrete or screed is no exception: black glue of a floor that is gone may hold asbestos too. But nothing
    there waits for a sample unless it is ground, so the headline does not name it.
    """
    old, rule = site.old, site_limits().rule("asbestos")
    asked = Asked.by(rule, f"a laboratory's test that found none. {rule.note.rstrip('.')}")
    told = _told(old)
    if old.asbestos == "none_found":
        return condition("old_covering", "met", asked, recorded=f"{told}a laboratory found no asbestos")
    if old.asbestos == "found":
        found = f"{told}a laboratory found asbestos"
        return condition("old_covering", "not_met", asked, recorded=found, advice=STOP, short="asbestos (found)")
    advice = TEST_GLUE if old.kind in BARE else TEST_FIRST
    if old.asbestos == "not_tested":
        untested = f"{told}not tested for asbestos"
        short = "" if old.kind in BARE else "asbestos (not tested)"
        return condition("old_covering", "open", asked, recorded=untested, advice=advice, short=short)
    recorded = f"{told}asbestos not recorded" if told else ""
    short = "" if old.kind in BARE else "asbestos (no test recorded)"
    return condition("old_covering", "not_recorded", asked, recorded=recorded, advice=advice, short=short)


def _told(old: OldCovering) -> str:
    """``ceramic tile, laid 1974, black glue: ``; "" where nothing is known."""
    parts = [] if old.kind is None else [old.name or old.kind.replace("_", " ")]
    parts += [] if old.laid_year is None else [f"laid {old.laid_year}"]
    parts += [old.adhesive] if old.adhesive else []
    return f"{', '.join(parts)}: " if parts else ""
