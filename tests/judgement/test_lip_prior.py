"""One lip among many: what the others say of a large, doubtful one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from flatscan.judgement.decision import chance_size_over
from flatscan.judgement.lip_prior import LipPrior, lip_prior
from flatscan.measures.joints.joints import Joints, MeasuredJoint, Station
from flatscan.measures.joints.network import JointNetwork
from flatscan.quantity import Quantity


def joints_of(lips: np.ndarray, u: np.ndarray) -> Joints:
    stations = [Station((0.0, 0.0), 25.0, 50.0, lip=Quantity(v, s, "mm")) for v, s in zip(lips, u, strict=True)]
    network = JointNetwork((), (), None, "picture", "")
    line = ((0.0, 0.0), (50.0, 0.0))
    return Joints(network, tuple(MeasuredJoint(f"J{k}", k, line, (s,)) for k, s in enumerate(stations)))


@pytest.mark.parametrize(
    ("value", "u", "limit", "usual"), [(2.3, 0.75, 1.0, 0.3), (-1.2, 0.1, 1.0, 0.3), (4.0, 2.0, 1.0, 0.2)]
)
def test_the_chance_is_that_of_the_mixture_integrated(value: float, u: float, limit: float, usual: float) -> None:
    """Bayes' rule by numbers: prior 95 % N(0, usual²) + 5 % N(0, 3²), likelihood N(value; lip, u²)."""

    def weight(lip: float) -> float:
        prior = 0.95 * norm.pdf(lip, 0.0, usual) + 0.05 * norm.pdf(lip, 0.0, 3.0)
        return float(prior * norm.pdf(value, lip, u))

    points = [0.0, value, -limit, limit]
    total = quad(weight, -25.0, 25.0, points=points, limit=400)[0]
    below = quad(weight, -limit, limit, points=[0.0], limit=400)[0]
    assert LipPrior(usual).chance_over(value, u, limit) == pytest.approx(1.0 - below / total, abs=1e-6)


def test_a_sharp_reading_is_hardly_moved() -> None:
    assert LipPrior(0.3).chance_over(2.5, 0.1, 1.0) == pytest.approx(1.0, abs=1e-6)


@given(st.floats(0.0, 8.0), st.floats(0.05, 3.0), st.floats(0.05, 1.0))
def test_the_sign_does_not_matter_and_a_larger_lip_is_no_less_over(value: float, u: float, usual: float) -> None:
    prior = LipPrior(usual)
    assert prior.chance_over(value, u, 1.0) == pytest.approx(prior.chance_over(-value, u, 1.0), abs=1e-12)
    assert prior.chance_over(value + 0.5, u, 1.0) >= prior.chance_over(value, u, 1.0) - 1e-9


def test_the_usual_lip_is_the_scatter_less_the_noise() -> None:
    # 4000 joints: the median absolute deviation scatters by 1.17 / sqrt(2 · 2000) = 2 %, the usual lip by about 3 %.
    rng = np.random.default_rng(3)
    lips = 0.4 * rng.standard_normal(4000)
    u = np.where(np.arange(4000) % 2, 0.3, 2.0)
    found = lip_prior(joints_of(lips + u * rng.standard_normal(4000), u)).usual_mm
    assert found == pytest.approx(0.4, rel=0.12)


def test_few_joints_tell_nothing() -> None:
    assert lip_prior(joints_of(np.full(4, 5.0), np.full(4, 0.1))).usual_mm == 0.5


def test_of_a_flat_floor_seen_badly_hardly_any_joint_is_over() -> None:
    """Lips of 0.15 mm known to 0.7 mm: by themselves 0.3 % of 20 000 joints are over, all wrongly."""
    rng = np.random.default_rng(5)
    value = rng.normal(0.0, np.hypot(0.15, 0.7), 20_000)
    alone = np.abs(value) - 1.645 * 0.7 > 1.0
    prior = LipPrior(0.15)
    among = np.array([prior.chance_over(v, 0.7, 1.0) >= 0.95 for v in value[alone]])
    assert alone.mean() > 0.001
    assert among.sum() <= 0.1 * alone.sum()
    assert chance_size_over(2.6, 0.7, 1.0) > 0.95 > prior.chance_over(2.6, 0.7, 1.0)
