"""One width from several photos: lip and angle, scatter, and what the uncertainty is made of."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.measures.joints.widths.combine import PRIOR_LIP_MM, Views, combine


def views(width, *, tan, noise=0.05, blur=0.02, edges=0.0, depth=700.0) -> Views:
    width, tan = np.atleast_2d(np.asarray(width, float)), np.atleast_2d(np.asarray(tan, float))
    return Views(
        width, *(np.full(width.shape, part) for part in (noise, blur, edges)), tan, np.full(width.shape, depth)
    )


def lip(value: float, u: float = 0.1):
    return np.array([value]), np.array([u])


@pytest.mark.parametrize(("lip_mm", "tan"), [(1.0, 0.4), (1.0, -0.4), (-0.8, 0.3), (0.0, 0.5)])
def test_lip_times_view_is_given_back(lip_mm: float, tan: float):
    """What a camera sees of edges at ± lip/2: both are projected by hand onto the plane between them."""
    wall, camera_height = 5.0, 800.0
    camera = np.array([tan * camera_height, camera_height])
    left, right = np.array([wall / 2.0, lip_mm / 2.0]), np.array([-wall / 2.0, -lip_mm / 2.0])

    def on_floor(point):
        share = camera[1] / (camera[1] - point[1])
        return camera[0] + share * (point[0] - camera[0])

    seen = on_floor(left) - on_floor(right)
    together = combine(views([seen], tan=[tan]), *lip(lip_mm), 0.0)
    # Second order: lip² / height and wall · lip / height, 1 / 800 · (0.5 + 5 · 0.5 · 0.4).
    assert together.width[0] == pytest.approx(wall, abs=0.01)


def test_photos_from_both_sides_need_no_lip():
    """Tangents +0.3 and -0.3 of an unknown lip of 1 mm: the mean is right, its lip part small; one alone is neither."""
    both = combine(views([5.0 - 0.3, 5.0 + 0.3], tan=[0.3, -0.3]), *lip(np.nan), 0.0)
    alone = combine(views([5.0 - 0.3], tan=[0.3]), *lip(np.nan), 0.0)
    assert both.width[0] == pytest.approx(5.0)
    assert alone.width[0] == pytest.approx(4.7)
    assert alone.parts["lip_view"][0] >= 0.3 * PRIOR_LIP_MM
    # Their difference of 0.6 is two standard deviations of 0.7 · 0.6: nothing to inflate much.
    assert both.parts["lip_view"][0] < alone.parts["lip_view"][0]


def test_scatter_between_photos_raises_the_uncertainty():
    """Square views that differ by 10 times their noise: Birge ratio, root of chi² per degree of freedom."""
    calm = combine(views([5.0, 5.0, 5.0], tan=[0.0, 0.0, 0.0]), *lip(0.0, 0.0), 0.0)
    torn = combine(views([4.5, 5.0, 5.5], tan=[0.0, 0.0, 0.0]), *lip(0.0, 0.0), 0.0)
    each = np.hypot(0.05, 0.04)
    assert torn.parts["noise"][0] / calm.parts["noise"][0] == pytest.approx(np.sqrt(0.5 / 2.0) / each)
    assert torn.width[0] == pytest.approx(5.0)


def test_the_parts_make_the_whole():
    together = combine(
        Views(
            np.array([[4.0, np.nan, 4.1], [np.nan, np.nan, np.nan], [6.0, 6.2, 6.1]]),
            *(np.full((3, 3), part) for part in (0.06, 0.03, 0.1)),
            np.array([[0.1, 0.4, -0.2]] * 3),
            np.full((3, 3), 600.0),
        ),
        np.array([0.5, 0.1, np.nan]),
        np.array([0.2, 0.2, np.nan]),
        1.0,
    )
    assert together.photos.tolist() == [2, 0, 3]
    assert np.isnan(together.width[1])
    assert np.isnan(together.u[1])
    total = np.sqrt(sum(part**2 for part in together.parts.values()))
    assert together.u == pytest.approx(total, nan_ok=True)
    assert set(together.parts) == {"noise", "blur", "scale", "lip_view", "pose", "edges"}


def test_the_height_of_the_floor_goes_into_the_scale():
    """7 mm at 700 mm is 1 % of a 5 mm joint, with the 0.3 % of the lens."""
    together = combine(views([5.0], tan=[0.0]), *lip(0.0), 7.0)
    assert together.parts["scale"][0] == pytest.approx(5.0 * np.hypot(0.01, 0.003))


def test_the_order_of_the_photos_does_not_matter():
    forward = combine(views([4.8, 5.0, 5.1], tan=[0.3, 0.0, -0.2]), *lip(0.4), 0.5)
    backward = combine(views([5.1, 5.0, 4.8], tan=[-0.2, 0.0, 0.3]), *lip(0.4), 0.5)
    assert forward.width == pytest.approx(backward.width)
    assert forward.u == pytest.approx(backward.u)
