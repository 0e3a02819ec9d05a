"""An invented floor's whole record, made by hand from closed forms: no stage of the program is run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from flatscan.caveats import caveat
from flatscan.judgement.limits import Limit, LimitSet, LimitSource
from flatscan.judgement.verdict import Answer, Finding, Reading, Verdict
from flatscan.levelling.plan import Area, LevellingPlan, Method, Product
from flatscan.measures.measurement import Flatness, GapMap, GapSpot, HumpSpot, Measurement
from flatscan.quantity import Quantity
from flatscan.report.report import Report
from flatscan.settings import Settings
from flatscan.sources.scan import InputFile
from flatscan.surface.surface import NoiseModel, Slope, Surface

SKIRTING_MM = 30.0


def height(x_mm: NDArray[np.float64], y_mm: NDArray[np.float64], size: tuple[float, float]) -> NDArray[np.float64]:
    """Undulation with a dip and a hump, in mm; the lengths follow the room."""
    width, depth = size
    waves = 1.1 * np.sin(2 * np.pi * x_mm / 2600.0 + 0.4) * np.cos(2 * np.pi * y_mm / 2300.0)
    dip = -5.5 * np.exp(-(((x_mm - 0.30 * width) / 420.0) ** 2) - ((y_mm - 0.34 * depth) / 380.0) ** 2)
    second = -2.75 * np.exp(-(((x_mm - 0.22 * width) / 300.0) ** 2) - ((y_mm - 0.80 * depth) / 330.0) ** 2)
    hump = 4.0 * np.exp(-(((x_mm - 0.80 * width) / 380.0) ** 2) - ((y_mm - 0.30 * depth) / 330.0) ** 2)
    return waves + dip + second + hump


def make_surface(
    *,
    size: tuple[float, float] = (4600.0, 3100.0),
    notch: tuple[float, float] | None = (1500.0, 1150.0),
    hole: tuple[float, float, float, float] | None = (2050.0, 2100.0, 2550.0, 2500.0),
    cell_mm: float = 10.0,
    noise_mm: float = 0.25,
    relief: float = 1.0,
) -> Surface:
    """An L-shaped room: ``notch`` is cut from the far right corner, ``hole`` (x0, y0, x1, y1) was not seen."""
    width, depth = size
    rows, cols = max(1, int(depth // cell_mm)), max(1, int(width // cell_mm))
    x, y = np.meshgrid((np.arange(cols) + 0.5) * cell_mm, (np.arange(rows) + 0.5) * cell_mm)
    strip = SKIRTING_MM
    inside = (x > strip) & (x < width - strip) & (y > strip) & (y < depth - strip)
    ring = [(0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth)]
    if notch is not None:
        inside &= ~((x > width - notch[0] - strip) & (y > depth - notch[1] - strip))
        ring[2:3] = [(width, depth - notch[1]), (width - notch[0], depth - notch[1]), (width - notch[0], depth)]
    true = relief * height(x, y, size)
    true = true - true[inside].mean()
    rng = np.random.default_rng(7)
    measured = true + noise_mm * rng.standard_normal(true.shape)
    seen = inside.copy()
    if hole is not None:
        seen &= ~((x > hole[0]) & (x < hole[2]) & (y > hole[1]) & (y < hole[3]))
    transform = np.eye(4)
    transform[:3, 3] = (-1200.0, -800.0, 1310.0)
    return Surface(
        height_mm=np.where(seen, measured, np.nan).astype(np.float32),
        estimate_mm=np.where(seen, true, np.nan).astype(np.float32),
        white_mm=np.where(seen, noise_mm, np.nan).astype(np.float32),
        count=np.where(seen, 12, 0).astype(np.int32),
        inside=inside,
        cell_mm=cell_mm,
        origin_mm=(0.0, 0.0),
        floor_from_scan=transform,
        outline=(np.array(ring, dtype=np.float64),),
        noise=NoiseModel(noise_mm, 0.3, 60.0, 0.2, "differences of neighbouring cells and of two views"),
        slope=Slope(Quantity(2.31, 0.14, "mm/m"), 1.92),
        kind="cloud",
        inferences=("Unit taken as m, because the floor is 1.31 away from the scanner",),
        caveats=(caveat("partly_seen", percent=4.0),),
    )


def lay_edge(surface: Surface, at: tuple[float, float], angle_rad: float, edge_mm: float) -> GapSpot:
    """The highest chord over ``at`` along one line, found by trying every pair of contacts."""
    step = np.array([np.cos(angle_rad), np.sin(angle_rad)])
    half = np.arange(0.0, edge_mm, 40.0)

    def readable(s: float) -> float:
        x, y = np.asarray(at) + s * step
        col, row = int(x // surface.cell_mm), int(y // surface.cell_mm)
        rows, cols = surface.inside.shape
        return float(surface.estimate_mm[row, col]) if 0 <= row < rows and 0 <= col < cols else float("nan")

    floor = readable(0.0)
    best = (0.0, -10.0, 10.0)
    for back in half[1:]:
        low = readable(-back)
        for ahead in half[1:]:
            high = readable(ahead)
            if back + ahead <= edge_mm and np.isfinite(low) and np.isfinite(high):
                chord = (low * ahead + high * back) / (back + ahead)
                best = max(best, (chord - floor, -back, ahead))
    gap, start, end = best
    contacts = (tuple((np.asarray(at) + start * step).tolist()), tuple((np.asarray(at) + end * step).tolist()))
    u = 0.16 + 0.03 * edge_mm / 1000.0
    return GapSpot(
        edge_mm=edge_mm,
        gap=Quantity(gap, u, "mm", (("repeat", 0.8 * u), ("systematic", 0.6 * u))),
        raw_mm=gap + 0.6,
        noise_floor_mm=0.9,
        at=at,
        contacts=contacts,  # type: ignore[arg-type]
        span_mm=end - start,
        direction_rad=angle_rad,
        bridges_hole=False,
    )


def find(spot: GapSpot, limit_mm: float) -> Finding:
    """Verdict words by hand, from how many u the gap is from the limit."""
    distance = (spot.gap.value - limit_mm) / spot.gap.u
    p_over = 1.0 if distance > 4 else 0.0 if distance < -4 else 0.5 + distance / 8.0
    verdict = "over" if distance > 1.7 else "within" if distance < -1.7 else "not_decided"
    where = f"{spot.at[0] / 1000:.2f} m along the bottom wall, {spot.at[1] / 1000:.2f} m out"
    return Finding(
        f"gap under {spot.edge_mm / 1000:g} m",
        "bs8204-sr1",
        limit_mm,
        spot.gap,
        p_over,
        verdict,  # type: ignore[arg-type]
        spot.at,
        where,
        spot.edge_mm,
        spot.contacts,
    )


def ellipse(centre: tuple[float, float], radii: tuple[float, float]) -> NDArray[np.float64]:
    t = np.linspace(0.0, 2 * np.pi, 40)
    return np.stack([centre[0] + radii[0] * np.cos(t), centre[1] + radii[1] * np.sin(t)], axis=1)


def make_areas(size: tuple[float, float]) -> tuple[Area, ...]:
    width, depth = size
    big = ellipse((0.30 * width, 0.34 * depth), (min(560.0, 0.25 * width), min(460.0, 0.25 * depth)))
    small = ellipse((0.22 * width, 0.80 * depth), (min(300.0, 0.2 * width), min(280.0, 0.15 * depth)))
    return (
        Area(1, (big,), 0.81, Quantity(1.62, 0.21, "l"), 2.0, 4.1, "fill"),
        Area(2, (small,), 0.26, Quantity(0.31, 0.09, "l"), 1.2, 2.0, "fill"),
    )


GAP_LIMITS = LimitSet(
    id="bs8204-sr1",
    title="Screeds and levelled bases, surface regularity SR1",
    source=LimitSource(document="BS 8204-1", table="surface regularity SR1", mark="read", reference="UK1"),
    limits=(Limit(what="gap", limit_mm=3.0, edge_mm=2000.0),),
)
TILE_LIMITS = LimitSet(
    id="over-old-tiles",
    title="Thin covering over old tiles",
    source=LimitSource(document="common practice, no source", mark="common practice, no source"),
    limits=(Limit(what="joint_width", limit_mm=5.0), Limit(what="lip", limit_mm=1.0)),
)


def make_report(
    *,
    spots: tuple[tuple[tuple[float, float], float, float], ...] | None = None,
    surface: Surface | None = None,
    size: tuple[float, float] = (4600.0, 3100.0),
    **room: object,
) -> Report:
    """A whole run's record; ``spots`` are (share of the size, angle in degrees, edge length in mm)."""
    surface = surface or make_surface(size=size, **room)  # type: ignore[arg-type]
    width, depth = size
    if spots is None:
        spots = (
            ((0.30, 0.34), 8.0, 2000.0),
            ((0.22, 0.80), 0.0, 2000.0),
            ((0.56, 0.42), 60.0, 2000.0),
            ((0.90, 0.20), 90.0, 2000.0),
            ((0.33, 0.30), 75.0, 1000.0),
            ((0.62, 0.10), 0.0, 200.0),
        )
    places = [((a * width, b * depth), np.radians(d), e) for (a, b), d, e in spots]
    gaps = tuple(sorted((lay_edge(surface, at, d, e) for at, d, e in places), key=lambda spot: -spot.gap.value))
    findings = tuple(find(spot, 3.0) for spot in gaps if spot.edge_mm == 2000.0)
    unseen = Finding("lip", "over-old-tiles", 1.0, None, None, "not_seen", None, "no joints were measured")
    maps = tuple(
        GapMap(edge, *(np.full(surface.height_mm.shape, v, np.float32) for v in (1.0, 1.5, 0.2)), noise_floor_mm=0.9)
        for edge in (1000.0, 2000.0)
    )
    flat = [Quantity(v, u, "mm") for v, u in ((12.4, 0.6), (5.2, 0.4), (7.2, 0.4), (1.94, 0.11), (11.6, 0.7))]
    return Report(
        inputs=(InputFile(Path("kitchen.laz"), "5f" * 32, "las"),),
        settings=Settings(limits=("bs8204-sr1", "over-old-tiles")),
        limits=(GAP_LIMITS, TILE_LIMITS),
        surface=surface,
        measurement=Measurement(
            Flatness(*flat),
            gaps,
            maps,
            (HumpSpot(2000.0, Quantity(2.1, 0.3, "mm"), (0.80 * width, 0.30 * depth), 0.0),),
            None,
            (caveat("directions_sampled", count=12),),
        ),
        verdict=Verdict(
            Answer(
                "level_areas",
                "Level 2 areas (1.1 m² of 12.5 m²), then lay",
                (
                    "The floor is over 3 mm under a 2 m edge in 2 places, by up to 2.6 mm",
                    "Dryness, soundness and cracks are not recorded: they come from the survey, not from geometry",
                ),
            ),
            (*findings, unseen),
            (
                Reading(
                    (0.56 * width, 0.42 * depth),
                    "gap under a 2 m edge laid at 60 degrees to the bottom wall",
                    "2 m edge and wedge",
                    "0.5 mm",
                ),
            ),
            (caveat("partly_seen", percent=4.0),),
        ),
        plan=LevellingPlan(
            methods=(
                Method(
                    "patch",
                    Quantity(1.93, 0.24, "l"),
                    (1.5, 2.4),
                    Quantity(3.2, 0.4, "kg"),
                    1,
                    (1, 1),
                    1.07,
                    1.8,
                    4.1,
                    volume_p_l=(1.62, 1.93, 2.24),
                    bags_p=(1, 1, 1),
                    buy=1,
                ),
                Method(
                    "flood",
                    Quantity(58.0, 4.1, "l"),
                    (50.0, 66.1),
                    Quantity(97, 7, "kg"),
                    4,
                    (4, 5),
                    12.5,
                    4.6,
                    12.0,
                    volume_p_l=(52.7, 58.0, 63.3),
                    bags_p=(4, 4, 5),
                    buy=5,
                    keep_sealed=1,
                ),
            ),
            areas=make_areas(size),
            fill_mm=np.zeros_like(surface.height_mm),
            product=Product("levelling compound", 1.7, 25.0, 1.0, 10.0, 0.05, "common practice, no source"),
            targets=((2000.0, 3.0),),
            caveats=(),
        ),
        seconds=(("read", 1.2), ("surface", 2.1), ("measure", 3.4), ("judge", 0.1), ("level", 1.5)),
    )


@pytest.fixture(scope="session")
def report() -> Report:
    """The L-shaped room, read-only."""
    return make_report()


@pytest.fixture(scope="session")
def build() -> Callable[..., Report]:
    """``make_report``, for other rooms."""
    return make_report


@pytest.fixture(scope="session")
def hostile(report: Report) -> Report:
    """Names, places and texts that try to break out of the page, the table and the terminal."""
    script, formula, escape = "<script>alert(1)</script>", '=cmd|"/c calc"!A0', "\x1b[31mred\x1b[0m"
    finding = replace(report.verdict.findings[0], what=formula, where=script, limit_id="@SUM(1)")
    return replace(
        report,
        inputs=(InputFile(Path(f"{script}-$x^2$-{escape}.laz"), "0a" * 32, formula),),
        verdict=replace(
            report.verdict,
            answer=Answer("not_decided", f"{script} {escape} $\\frac$", (f"& {script}",)),
            findings=(finding,),
            next_readings=(Reading((100.0, 100.0), formula, script, escape),),
        ),
    )


@pytest.fixture(scope="session")
def small_png() -> bytes:
    """A picture that any reader opens, in place of one that takes seconds to draw."""
    import io

    from PIL import Image

    buffer = io.BytesIO()
    Image.new("L", (40, 30), 200).save(buffer, "PNG")
    return buffer.getvalue()
