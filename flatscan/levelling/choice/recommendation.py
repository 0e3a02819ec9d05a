"""Which way to level, why, and what would change that: three sentences for whoever does the work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.judgement.answer import LEVEL_ALL_SHARE
from flatscan.judgement.soundness import LEAST_TAPS
from flatscan.levelling.binding.constraints import asbestos_found
from flatscan.levelling.choice.costs import break_evens
from flatscan.levelling.choice.way_words import PRICES, WAYS, cost, currency, litres, takes, way
from flatscan.levelling.joints.lifting import bare_kind, lifting_called_for

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from flatscan.levelling.basis import Basis
    from flatscan.levelling.plan import Method, MethodName, Product

#: Grinding makes dust that harms lungs: it is chosen only where it saves at least a tenth.
_LEAST_SAVED = 0.10
_WEIGHT: Mapping[MethodName, float] = {"grind_and_patch": 1.0 / (1.0 - _LEAST_SAVED)}
#: Ways that take the same to within this share are a tie.
_SAME = 1e-9
#: How the way begins where asbestos was found.
_IF_COVERED = "If the licensed firm lets the old floor be covered"
Sentences = tuple[str, str, str]


@dataclass(frozen=True, slots=True, eq=False)
class _Ranking:
    """The ways that can be done, the best first, and by what: their cost where it is known, else their litres."""

    ways: tuple[Method, ...]
    by_cost: bool

    def size(self, method: Method) -> float:
        return method.cost.value if self.by_cost and method.cost is not None else method.volume_l.value

    def score(self, method: Method) -> float:
        return self.size(method) * _WEIGHT.get(method.name, 1.0)


def recommend(
    methods: Sequence[Method], basis: Basis, product: Product, *, asked: MethodName | None
) -> tuple[MethodName | None, tuple[str, ...]]:
    """The way to choose and three sentences: which and what it takes; why; what would change the choice.

    More than a tenth hollow: the tiles come up. A floor that meets its limits is left. Where only joints and lips are
    over, they alone are done, or a thin coat, whichever takes less. Else of the ways that can be done the cheapest,
    or, where costs are not known, the one that takes least compound; grinding only where it saves at least
    a tenth. Where nothing is possible, the tiles come up if that is among the ways, else nothing is
    chosen.

    ``asked``: the way that the person chose; it is kept where it can be done, and the second sentence then says what
    would be recommended. None is chosen where it cannot.
    """
    name, said = _best(methods, basis, product)
    if asked is None or asked == name:
        return name, said
    wanted = next((method for method in methods if method.name == asked), None)
    advice = f"Without that choice: {_lower(said[0])}"
    if wanted is None or not wanted.possible:
        why = "it was not worked out" if wanted is None else wanted.why_not
        return None, (f"{_upper(WAYS[asked])} was asked for and cannot be done: {why}", advice, said[2])
    first = f"As asked, {way(wanted, basis.joint_work)}: {takes(wanted, product)}"
    return asked, (first, advice, said[2])


def _best(methods: Sequence[Method], basis: Basis, product: Product) -> tuple[MethodName | None, Sentences]:
    hollow = lifting_called_for(basis)
    lift = next((method for method in methods if method.name == "lift_tiles" and method.possible), None)
    ranking = _ranked(methods, basis)
    if hollow:
        return "lift_tiles" if lift else None, _take_up(hollow, lift, ranking, product)
    if basis.answer == "lay_as_is":
        return None, _nothing(ranking, basis)
    if not ranking.ways:
        return "lift_tiles" if lift else None, _impossible(methods, lift, basis, product)
    chosen = ranking.ways[0]
    first = f"best is {way(chosen, basis.joint_work)}: {takes(chosen, product)}"
    opening = "Should levelling be needed, " if basis.answer == "not_decided" else ""
    if asbestos_found(basis.survey):
        opening = f"{_IF_COVERED}, {opening[:1].lower()}{opening[1:]}"
    second = _why(ranking, methods) + _more_than_half(chosen, basis)
    return chosen.name, (_upper(opening + first), second, _change(ranking, methods, basis, product))


def _ranked(methods: Sequence[Method], basis: Basis) -> _Ranking:
    possible = [method for method in methods if method.possible and method.name != "lift_tiles"]
    patch = next((method for method in possible if method.name == "patch"), None)
    if patch is not None:
        # Where nothing is worth grinding it is the patch once more.
        possible = [m for m in possible if m.name != "grind_and_patch" or m.ground_l > patch.ground_l]
    joints_only = basis.answer == "fill_joints_and_lips"
    if joints_only:
        # Where the gaps pass, what levels the floor is more than it needs.
        possible = [method for method in possible if method.name in ("patch", "skim")] or possible
    costed = [method for method in possible if method.cost is not None]
    unsorted = _Ranking(tuple(possible), by_cost=False)
    if costed and not joints_only:
        unsorted = _Ranking(tuple(costed), by_cost=True)
    least = min((unsorted.score(method) for method in unsorted.ways), default=0.0)

    def key(method: Method) -> tuple[bool, bool, float]:
        tied = unsorted.score(method) <= least * (1.0 + _SAME)
        return not tied, tied and method.name != "patch", unsorted.score(method)

    return _Ranking(tuple(sorted(unsorted.ways, key=key)), unsorted.by_cost)


def _why(ranking: _Ranking, methods: Sequence[Method]) -> str:
    """Why the first of the ranking rather than the second, with the figures of both."""
    if len(ranking.ways) == 1:
        ruled_out = [f"{WAYS[m.name]}: {m.why_not}" for m in methods if m.name != "lift_tiles" and not m.possible]
        return f"No other way can be {'held against it' if not ruled_out else f'done; {ruled_out[0]}'}"
    chosen, other = ranking.ways[:2]
    figure = cost if ranking.by_cost else litres
    against = f"{figure(chosen)} against {figure(other)}"
    if ranking.by_cost:
        against += f", {litres(chosen)} against {litres(other)}"
    less = "costs" if ranking.by_cost else "takes"
    if other.name == "grind_and_patch" and ranking.size(other) < ranking.size(chosen):
        return f"Grinding first would save less than a tenth and makes dust: {against}"
    if ranking.score(other) <= ranking.score(chosen) * (1.0 + _SAME):
        return f"The next best, {WAYS[other.name]}, {less} as much: {against}"
    return f"It {less} less than the next best, {WAYS[other.name]}: {against}"


def _more_than_half(chosen: Method, basis: Basis) -> str:
    seen_m2 = basis.surface.area_m2 * basis.surface.seen_share
    if chosen.name not in ("patch", "grind_and_patch") or chosen.area_m2 <= LEVEL_ALL_SHARE * seen_m2:
        return ""
    share = f"{100.0 * chosen.area_m2 / seen_m2:.0f} %"
    return f"; but it covers {share} of the floor seen, so a pour over everything may be simpler work"


def _change(ranking: _Ranking, methods: Sequence[Method], basis: Basis, product: Product) -> str:
    """What would change the choice: a price, a bound that rules out what takes less, tapping."""
    chosen, said = ranking.ways[0], []
    if basis.answer == "not_decided":
        said.append("the readings that are still open may show that nothing is needed")
    if ranking.by_cost:
        said += _prices(ranking, product)
    ruled_out = [m for m in methods if not m.possible and m.name != "lift_tiles"]
    comparable = [m for m in ruled_out if m.cost is not None or not ranking.by_cost]
    better = [m for m in comparable if 0.0 < ranking.score(m) < ranking.score(chosen)]
    if better:
        least = min(better, key=ranking.score)
        said.append(f"{WAYS[least.name]} would take less ({litres(least)}) were it not ruled out: {least.why_not}")
    if basis.answer == "fill_joints_and_lips":
        said.append("a gap over its limit, found by laying a straightedge, would call for levelling")
    elif not ranking.by_cost and len(ranking.ways) > 1:
        said.append("prices might: put those of a bag and of the work in the product file")
    if len(said) == 0 or (len(said) == 1 and basis.answer == "not_decided"):
        said.append(_tapping(basis))
    return f"What would change that: {'; '.join(said)}"


def _prices(ranking: _Ranking, product: Product) -> list[str]:
    """The smallest change of one price at which another way is chosen."""
    found = break_evens(ranking.ways[0], ranking.ways[1:], product, weight=_WEIGHT)
    if not found:
        return ["no price by itself, even ten times as much or a tenth"] if len(ranking.ways) > 1 else []
    first = found[0]
    money, now = currency(product.currency), getattr(product, first.price_name)
    side = "above" if first.dearer else "below"
    at = f"{side} {first.price:.2f}{money} for {PRICES[first.price_name]} (now {now:.2f}{money})"
    return [f"{at} {WAYS[first.winner]} would be chosen"]


def _tapping(basis: Basis) -> str:
    if asbestos_found(basis.survey):
        return "what the licensed firm decides"
    if bare_kind(basis):
        return "a finer measurement of the floor, or a milder limit"
    if basis.tapped < LEAST_TAPS:
        return f"tapping: nobody has tapped {LEAST_TAPS} places, and above a tenth hollow the tiles come up"
    return f"tapping: {basis.bad} of {basis.tapped} places are bad, and above a tenth the tiles come up"


def _take_up(hollow: str, lift: Method | None, ranking: _Ranking, product: Product) -> Sentences:
    if lift is None:
        return (
            f"No way can be chosen here: {hollow}",
            "Nothing is laid over tiles that have come loose, and nothing of them is taken up",
            "What would change that: what the licensed firm decides",
        )
    area = f" ({takes(lift, product)})"
    over = "whatever goes over them would stand on tiles that have come loose"
    if ranking.ways:
        over = f"{WAYS[ranking.ways[0].name]} ({litres(ranking.ways[0])}) would stand on tiles that have come loose"
    return (
        f"Best is taking the old tiles up{area}: {hollow}",
        f"{_upper(over)}; what lies beneath has not been seen, so measure again when they are up",
        "What would change that: tapping every tile and finding no more than a tenth bad; then only those come out",
    )


def _nothing(ranking: _Ranking, basis: Basis) -> Sentences:
    least = next((method for method in ranking.ways if method.area_m2 > 0.0), None)
    adds = f"{_upper(WAYS[least.name])}, the least that could be laid, would take {litres(least)} and" if least else ""
    return (
        "Nothing needs levelling: the floor meets its limits as it is",
        f"{adds or 'Anything laid on it'} would only add height",
        "What would change that: a stricter limit"
        + (
            ""
            if bare_kind(basis) or asbestos_found(basis.survey)
            else ", or more than a tenth of the places tapped sounding hollow"
        ),
    )


def _impossible(methods: Sequence[Method], lift: Method | None, basis: Basis, product: Product) -> Sentences:
    ruled_out = [f"{WAYS[m.name]}: {m.why_not}" for m in methods if m.name != "lift_tiles"]
    first = f"No way of levelling over {'this floor' if bare_kind(basis) else 'these tiles'} can be done"
    if lift:
        first += f", so what is left is taking them up: {takes(lift, product)}"
    return (
        first,
        f"Ruled out are {'; '.join(ruled_out)}" if ruled_out else "No way of levelling was worked out",
        "What would change that: a higher door or build-up, a product that allows thicker layers, or a milder limit",
    )


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
