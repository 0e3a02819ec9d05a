"""Level readings along lines against a published record: E1155M test pad of a national accelerator laboratory.

Source: test record of 5 May 2003, elevations and curvature table read on stored public pages (TABLES: W3, 3.1); the
slab is 3.36 x 6.11 m, read each 300 mm. The curvature table is printed to 0.001 mm. FF and FL were computed once from
the elevations with the constants from memory (4.57 in, 12.5 in) as they stand for a 304.8 mm step; for the true step
of 300 mm they are smaller by its square and by itself.
"""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.measures.f_formula import combine
from flatscan.measures.level_lines import level_lines
from flatscan.measures.level_runs import level_run_f_numbers
from flatscan.sources.hand.field_readings import FieldReadings, LevelReading

ELEVATIONS = {
    "0": """
        418.617 419.938 421.894 423.748 425.221 424.739 423.799
        424.307 425.425 424.688 423.164 422.758 420.472 416.738
    """,
    "1": """
        418.592 421.081 422.072 421.513 420.040 421.132 420.675 421.640
        421.894 421.538 421.183 421.894 419.684 420.040 417.982
    """,
    "2": """
        418.338 419.659 419.227 419.227 418.668 418.186 418.973
        419.379 420.141 419.532 418.643 418.719 416.763 414.782
    """,
    "3": """
        418.617 418.973 419.100 420.878 419.989 419.227 419.684
        420.751 420.065 421.259 421.386 418.846 419.887 418.363
    """,
    "4": """
        418.846 418.135 418.998 419.405 420.294 420.370 421.640 421.259
        422.910 423.926 424.053 423.164 422.732 422.834 421.513
    """,
}
CURVATURES = {
    "0": "0.635 -0.102 -0.381 -1.956 -0.457 1.448 0.610 -1.854 -0.787 1.118 -1.880 -1.448",
    "1": "-1.499 -1.549 -0.914 2.565 -1.549 1.422 -0.711 -0.610 0.000 1.067 -2.921 2.565 -2.413",
    "2": "-1.753 0.432 -0.559 0.076 1.270 -0.381 0.356 -1.372 -0.279 0.965 -2.032 -0.025",
    "3": "-0.229 1.651 -2.667 0.127 1.219 0.610 -1.753 1.880 -1.067 -2.667 3.581 -2.565",
    "4": "1.575 -0.457 0.483 -0.813 1.194 -1.651 2.032 -0.635 -0.889 -1.016 0.457 0.533 -1.422",
}
#: FF and FL by the constants of a 304.8 mm step.
NUMBERS = {
    "0": (28.841, 20.210),
    "1": (20.444, 45.980),
    "2": (34.630, 39.545),
    "3": (18.502, 46.653),
    "4": (32.490, 37.224),
}
STEP_SHARE = 300.0 / 304.8


def numbers(text: str) -> np.ndarray:
    return np.array([float(t) for t in text.split()])


@pytest.fixture
def field() -> FieldReadings:
    """The pad's lines side by side 0.6 m apart, read to 0.01 mm, each line in its own set-up."""
    readings = [
        LevelReading(
            row=2 + k,
            number=f"{name}-{k}",
            at=(600.0 * int(name) + 400.0, 300.0 * k),
            height_mm=float(h) + 1000.0 * int(name),
            u_mm=0.01,
            set_up=f"at {name}",
            order=k,
            line=name,
        )
        for name, elevations in ELEVATIONS.items()
        for k, h in enumerate(numbers(elevations))
    ]
    outline = np.array([[0.0, 0.0], [3360.0, 0.0], [3360.0, 6110.0], [0.0, 6110.0], [0.0, 0.0]])
    return FieldReadings((), levels=tuple(readings), outline=outline)


def test_curvatures_are_the_printed_ones(field: FieldReadings) -> None:
    """Both tables are printed to 0.001 mm: four elevations' halves of a digit and the table's own."""
    lines, refused = level_lines(field.levels)
    assert refused == []
    for line in lines:
        q, _ = line.q_z(line.height_mm)
        np.testing.assert_allclose(q, numbers(CURVATURES[line.name]), atol=0.0025)


def test_f_numbers_of_the_pad(field: FieldReadings) -> None:
    found = level_run_f_numbers(field, rng=np.random.default_rng(0))
    assert found is not None
    assert found.ff is not None
    assert found.fl is not None
    for line, (ff, fl) in zip(found.lines, NUMBERS.values(), strict=True):
        assert line.ff is not None
        assert line.fl is not None
        assert line.ff.value == pytest.approx(ff * STEP_SHARE**2, rel=2e-4)
        assert line.fl.value == pytest.approx(fl * STEP_SHARE, rel=2e-4)
    q_counts = [len(numbers(q)) for q in CURVATURES.values()]
    overall = combine(q_counts, [ff for ff, _ in NUMBERS.values()])
    assert found.ff.value == pytest.approx(overall * STEP_SHARE**2, rel=2e-4)
    assert found.fl.value == pytest.approx(33.032 * STEP_SHARE, rel=2e-4)  # TABLES O-1b, lines 0 to 4
    assert found.ff_interval is not None
    assert found.ff_interval[0] < found.ff.value < found.ff_interval[1]


def test_the_pad_breaks_layout_rules_that_are_told(field: FieldReadings) -> None:
    """Laid so, the lines are 0.6 m apart, begin at the pad's edge, and a pad 3.36 m wide is read straight."""
    found = level_run_f_numbers(field, rng=np.random.default_rng(0))
    assert found is not None
    notes = " ".join(found.notes)
    for words in ("0.60 m apart, less than 1.20 m", "nearer than 0.60 m", "3.36 m wide", "fewer than the 30 for 21 m²"):
        assert words in notes
