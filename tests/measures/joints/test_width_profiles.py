"""The fit of grooves to profiles whose truth is an integral in closed form, or a twin's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.signal import fftconvolve, lfilter
from scipy.special import ndtr

from flatscan.measures.joints.widths.doubts import blur_doubt
from flatscan.measures.joints.widths.fit import Across
from flatscan.measures.joints.widths.groove_model import (
    CENTRE,
    DEPTH,
    EDGE,
    JOINT,
    LOG_BLUR,
    PARAMETERS,
    WIDTH,
    profile,
    profile_and_slopes,
)
from flatscan.measures.joints.widths.one_photo import EDGE_SHAPE_MM, fit_twice
from flatscan.measures.joints.widths.refusal import MEASURED, REASONS, refusals
from flatscan.measures.joints.widths.repeats import noise_of

PIXEL_MM = 0.25
X_MM = np.arange(-132, 133) * PIXEL_MM / 2.0
NOISE = 0.004


def ramp(z: np.ndarray) -> np.ndarray:
    """Integral of the cumulative normal distribution."""
    return z * ndtr(z) + np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)


def seen(width_mm, centre_mm, blur_px, tones=(0.45, 0.1, 0.5), x_mm=X_MM) -> np.ndarray:
    """(n, m) a joint through Gaussian optics, then averaged over each pixel exactly. ``blur_px``: of the optics."""
    blur, half = blur_px * PIXEL_MM, PIXEL_MM / 2.0
    right, joint, left = tones

    def edge(at):
        off = x_mm - np.atleast_1d(at)[:, None]
        return blur / PIXEL_MM * (ramp((off + half) / blur) - ramp((off - half) / blur))

    first, second = edge(centre_mm - np.asarray(width_mm) / 2.0), edge(centre_mm + np.asarray(width_mm) / 2.0)
    return right + (joint - right) * first + (left - joint) * second


def fitted(tone: np.ndarray, slant: np.ndarray | None = None, pixel_mm: float = PIXEL_MM, x_mm: np.ndarray = X_MM):
    n = len(tone)
    return fit_twice(Across(x_mm, tone, np.zeros(n) if slant is None else slant, np.full(n, pixel_mm)))


def u_of(fits) -> np.ndarray:
    return np.sqrt(fits.covariance[:, WIDTH, WIDTH] + fits.assumed.sum(axis=1))


def grooves(n: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """(n, 8) parameters, half of the grooves light, and (n,) slants."""
    theta = np.column_stack([rng.uniform(0.3, 0.5, n), np.where(np.arange(n) % 2, 0.1, 0.7), rng.uniform(0.3, 0.5, n)])
    shape = [rng.normal(0, 0.7, n), rng.uniform(3, 8, n), np.log(rng.uniform(0.25, 0.4, n))]
    depth, edge = rng.uniform(1.0, 3.0, n), rng.uniform(0.3, 1.2, n)
    return np.column_stack([theta, *shape, depth, edge]), rng.uniform(-0.4, 0.4, n)


def by_integral(theta: np.ndarray, slant: float, x_mm: np.ndarray) -> np.ndarray:
    """(m,) a groove's light place by place, the line of sight followed down, then blurred on a 0.005 mm grid."""
    right, joint, left, centre, width, log_blur, depth, edge = theta
    step = 0.005
    t = np.arange(x_mm[0] - 3.0, x_mm[-1] + 3.0, step) - centre
    tone = np.where(t < 0.0, right, left)
    beyond = np.abs(t) - width / 2.0
    on_edge = (beyond >= 0.0) & (beyond < edge)
    sine = 1.0 - beyond[on_edge] / edge
    tone[on_edge] *= (1.0 + np.cos(np.arcsin(sine))) / 2.0
    inside = beyond < 0.0
    for i in np.flatnonzero(inside):
        landing = t[i] + slant * depth
        if abs(landing) < width / 2.0:
            # Angles from the horizon that the walls hide: the sky seen is the mean of their complements' sines.
            hidden = [np.arctan2(depth, width / 2.0 + side * landing) for side in (-1.0, 1.0)]
            sky, albedo = np.mean(np.cos(hidden)), joint
        else:
            below = (width / 2.0 - np.sign(slant) * t[i]) / abs(slant)
            sky, albedo = (1.0 - np.sin(np.arctan2(below, width))) / 2.0, left if slant > 0 else right
        tone[i] = albedo * sky / (1.0 - 0.4 * (1.0 - sky))
    bell = np.exp(-0.5 * (np.arange(-500, 501) * step / np.exp(log_blur)) ** 2)
    smooth = fftconvolve(np.pad(tone, 500, mode="edge"), bell / bell.sum(), "valid")
    return np.interp(x_mm, t + centre, smooth)


def test_the_profile_is_that_of_a_groove_seen_ray_by_ray():
    theta, slant = grooves(12, np.random.default_rng(6))
    twin = np.stack([by_integral(row, lean, X_MM) for row, lean in zip(theta, slant, strict=True)])
    # Cells of 0.0625 mm hold one value each: about step² / 24 of the light's curvature near a wall.
    assert np.abs(profile(X_MM, slant, theta) - twin).max() < 3e-3


def test_grooves_are_measured_without_bias():
    """Noise of a hundredth; depth, rounding and blur not known: median error below 0.05 mm, |z| < 2 for most."""
    theta, slant = grooves(200, np.random.default_rng(7))
    tone = profile(X_MM, slant, theta) + np.random.default_rng(8).normal(0.0, 0.004, (200, len(X_MM)))
    fits, _ = fitted(tone, slant)
    off = fits.theta[:, WIDTH] - theta[:, WIDTH]
    assert abs(np.median(off)) < 0.05
    assert np.mean(np.abs(off) < 2.0 * u_of(fits)) > 0.93


def test_the_slopes_are_those_of_the_profile():
    theta, slant = grooves(20, np.random.default_rng(3))
    slopes = profile_and_slopes(X_MM, slant, theta)[1]
    for column in range(PARAMETERS):
        step = np.zeros(PARAMETERS)
        step[column] = 1e-3
        by_difference = (profile(X_MM, slant, theta + step) - profile(X_MM, slant, theta - step)) / 2e-3
        # Over ten times the step of the model's own; where the seen side ends, cells change kind: 5 % there.
        assert np.abs(slopes[..., column] - by_difference).max() < 0.05 * np.abs(slopes[..., column]).max()


@pytest.mark.parametrize("blur_px", [0.75, 1.0, 1.5])
def test_sharp_evenly_lit_joints_are_within_what_is_assumed(blur_px: float):
    """A painted band has no depth and no rounding, both far from what is assumed: the stated doubt covers it."""
    rng = np.random.default_rng(5)
    width = rng.uniform(10.0, 24.0, 100) * PIXEL_MM
    tone = seen(width, rng.uniform(-2.0, 2.0, 100), blur_px)
    fits, _ = fitted(tone + rng.normal(0.0, 0.001, tone.shape))
    off = fits.theta[:, WIDTH] - width
    assert np.abs(off / np.hypot(u_of(fits), EDGE_SHAPE_MM)).max() < 2.2
    assert np.abs(off).max() < 0.25


@pytest.fixture(scope="module")
def twins():
    """Thirty fits, and per row what scipy.optimize.curve_fit finds (MINPACK, from the truth, numerical slopes).

    What is assumed becomes three more data. ``costs``: both fits' sums of squares over those of a sample's spread.
    """
    theta, slant = grooves(30, np.random.default_rng(8))
    tone = profile(X_MM, slant, theta) + np.random.default_rng(9).normal(0.0, NOISE, (30, len(X_MM)))
    fits, weight = fitted(tone, slant)
    found, covariances, costs = [], [], []
    uneven = 0.02 * np.sqrt(0.25 / (X_MM[1] - X_MM[0])) * np.median(tone, axis=1)
    for row in range(30):
        use = weight[row] > 0

        def model(x, *p, row=row):
            seen_tone = profile(x, slant[row : row + 1], np.array([p]))[0]
            return np.concatenate([seen_tone, [p[DEPTH], p[EDGE], p[LOG_BLUR]]])

        data = np.concatenate([tone[row, use], [2.0, 0.75, np.log(1.1 * PIXEL_MM)]])
        spread = np.concatenate([np.full(use.sum(), uneven[row]), [1.0, 0.9 / np.sqrt(12.0), 0.4]])
        best, covariance = curve_fit(
            model, X_MM[use], data, p0=theta[row], sigma=spread, absolute_sigma=True, epsfcn=1e-8,
            ftol=1e-12, xtol=1e-12,
        )  # fmt: skip
        found.append(best)
        covariances.append(covariance[WIDTH, WIDTH])
        costs.append([np.sum(((model(X_MM[use], *p) - data) / spread) ** 2) for p in (fits.theta[row], best)])
    return fits, np.array(found), np.array(covariances), np.array(costs), uneven


def test_no_independent_fit_finds_less_cost(twins):
    """The cost has kinks where the seen side ends: now and then a fit rests at one, a hair above the least cost."""
    fits, found, covariance, costs, _ = twins
    ours, theirs = costs.T
    above = ours / theirs - 1.0
    assert above.max() < 1e-4
    assert np.mean(above < 1e-9) > 0.9
    # Same cost, same minimum: a cost of c plus 1e-8 of it allows about sqrt(1e-8 c) deviations, c about 20 here.
    same = np.abs(above) < 1e-8
    assert same.mean() > 0.7
    u = np.sqrt(covariance[same])
    assert np.all(np.abs(found - fits.theta)[same, WIDTH] < 1e-3 * u)
    assert np.abs(found - fits.theta)[:, WIDTH].max() < 0.01


def test_the_covariance_is_that_of_an_independent_fit(twins):
    """Where noise is as large as what is assumed of a sample, noise and assumptions add up to the twin's covariance.

    The noise is told from residuals, which scatter, with a correlation, which is 0 here.
    """
    fits, _, theirs, _, uneven = twins
    ours = fits.covariance[:, WIDTH, WIDTH] * (uneven / NOISE) ** 2 + fits.assumed.sum(axis=1)
    assert 0.85 < np.median(ours / theirs) < 1.2
    assert np.all((ours / theirs > 0.4) & (ours / theirs < 2.5))


@pytest.mark.parametrize("memory", [0.0, 0.7])
def test_the_uncertainty_holds_with_correlated_residuals(memory: float):
    """|z| < 2 in 92 to 99 %, |z| < 1 in 60 to 76 % of 400 grooves drawn as assumed; shares scatter by 1.1 and 2.3 %."""
    rng = np.random.default_rng(13)
    theta, slant = grooves(400, rng)
    white = rng.normal(0.0, 0.004, (400, len(X_MM) + 50))
    noise = lfilter([1.0], [1.0, -memory], white, axis=1)[:, 50:]
    fits, _ = fitted(profile(X_MM, slant, theta) + noise, slant)
    z = (fits.theta[:, WIDTH] - theta[:, WIDTH]) / u_of(fits)
    assert 0.92 < np.mean(np.abs(z) < 2.0) < 0.99
    assert 0.6 < np.mean(np.abs(z) < 1.0) < 0.76
    assert abs(np.median(z)) < 0.25


def test_repeats_of_parts_widen_what_residuals_do_not_see():
    """A joint whose width wanders between parts has an uncertainty of its own; z is then standard, to 10 %."""
    rng = np.random.default_rng(2)
    parts = rng.normal(0.0, 0.3, (4000, 3))
    u = noise_of(np.full(4000, 0.02), parts)
    assert np.mean(np.abs(parts.mean(axis=1) / u) < 2.0) == pytest.approx(0.954, abs=0.02)
    assert noise_of(np.full(50, 0.05), np.full((50, 3), 4.0)) == pytest.approx(np.sqrt(4.0 / 6.0) * 0.05)


def test_mirror_and_scale_change_nothing():
    rng = np.random.default_rng(21)
    theta, slant = grooves(40, rng)
    tone = profile(X_MM, slant, theta) + rng.normal(0.0, 0.003, (40, len(X_MM)))
    plain = fitted(tone, slant)[0].theta
    mirrored = fitted(tone[:, ::-1], -slant)[0].theta
    assert mirrored[:, WIDTH] == pytest.approx(plain[:, WIDTH], abs=0.01)
    assert mirrored[:, CENTRE] == pytest.approx(-plain[:, CENTRE], abs=0.01)
    assert fitted(1.7 * tone, slant)[0].theta[:, WIDTH] == pytest.approx(plain[:, WIDTH], abs=0.01)


def test_profiles_are_fitted_each_by_itself():
    rng = np.random.default_rng(4)
    theta, slant = grooves(7, rng)
    tone = profile(X_MM, slant, theta) + rng.normal(0.0, 0.01, (7, len(X_MM)))
    together = fitted(tone, slant)[0].theta
    alone = np.concatenate([fitted(tone[row : row + 1], slant[row : row + 1])[0].theta for row in range(7)])
    assert together == pytest.approx(alone, abs=1e-9)


KERNELS = {
    "gaussian": lambda t, s: np.exp(-0.5 * (t / s) ** 2),
    "box": lambda t, s: (np.abs(t) <= s * np.sqrt(3.0)).astype(float),
    "disc": lambda t, s: np.sqrt(np.maximum(4.0 * s * s - t * t, 0.0)),
    "smear": lambda t, s: np.maximum(2.0 * s * np.sqrt(1.5) - np.abs(t), 0.0),
    "exponential": lambda t, s: np.exp(-np.abs(t) * np.sqrt(2.0) / s),
}


@pytest.mark.parametrize("blurs", [4.0, 5.0, 6.0, 8.0])
def test_other_blurs_are_within_their_doubt(blurs: float):
    """Shapes of equal deviation, fitted as Gaussian: rms error 0.35 to 1.3 times the stated doubt, each within 2.5."""
    sigma, fine = 0.4, np.arange(-2000, 2001) * 0.005
    groove = np.array([[0.4, 0.1, 0.4, 0.0, blurs * sigma, np.log(0.02), 2.0, 0.75]])
    long = np.arange(-4000, 4001) * 0.005
    sharp = profile(long, np.zeros(1), groove)[0]
    tone = []
    for kernel in KERNELS.values():
        weight = kernel(fine, sigma)
        blurred = fftconvolve(np.pad(sharp, 2000, mode="edge"), weight / weight.sum(), "valid")
        tone.append(np.interp(X_MM, long, blurred))
    width = fitted(np.array(tone), pixel_mm=sigma / 1.1)[0].theta[:, WIDTH]
    errors = width[1:] - width[0]
    stated = blur_doubt(np.array([blurs * sigma]), np.array([sigma]), np.array([0.1]), np.array([0.4]))[0]
    tone_alone = blur_doubt(np.array([1e3 * sigma]), np.array([sigma]), np.array([0.1]), np.array([0.4]))[0]
    shape = np.sqrt(stated**2 - tone_alone**2)
    assert 0.35 * shape < np.sqrt(np.mean(errors**2)) < 1.3 * shape
    assert np.abs(errors).max() < 2.5 * shape


@pytest.mark.parametrize("exponent", [0.9, 1.1])
@pytest.mark.parametrize("joint", [0.05, 0.1, 0.2, 0.6, 0.8, 1.0])
def test_a_wrong_tone_curve_is_within_its_doubt(joint: float, exponent: float):
    """Fit y^(1 ± 0.1) instead of y, grooves of any depth and rounding: rms error 0.5 to 1.3 of what is stated."""
    shapes = [(w, d, e) for w in (3.0, 5.0, 7.0) for d in (1.3, 2.0, 3.0) for e in (0.4, 0.75, 1.1)]
    groove = np.array([[0.4, joint, 0.4, 0.0, w, np.log(0.3), d, e] for w, d, e in shapes])
    plain = profile(X_MM, np.zeros(len(groove)), groove)
    error = fitted(plain**exponent)[0].theta[:, WIDTH] - fitted(plain)[0].theta[:, WIDTH]
    # So many blurs wide that their shape has no part in it.
    stated = blur_doubt(np.full(1, 1e3), np.full(1, 0.3), np.array([joint]), np.array([0.4]))[0]
    assert 0.5 * stated < np.sqrt(np.mean(error**2)) < 1.3 * stated


def test_bands_of_either_polarity_are_within_what_is_assumed():
    """Dark on light reads narrow, light on dark wide, as painted bands have no shade: alike in what is stated."""
    width = np.linspace(3.0, 6.0, 20)
    off = {}
    for name, tones in {"dark": (0.45, 0.1, 0.45), "light": (0.45, 0.8, 0.45)}.items():
        fits, _ = fitted(seen(width, np.zeros(20), 1.0, tones))
        off[name] = fits.theta[:, WIDTH] - width
        assert np.all(np.abs(off[name]) < 2.0 * np.hypot(u_of(fits), EDGE_SHAPE_MM))
    assert off["dark"].max() < 0.0 < off["light"].min()
    assert np.abs(off["light"] - off["dark"]).max() < 0.35


@pytest.mark.parametrize("shade", [0.0, 0.65])
def test_mottle_is_no_shadow_and_a_shadow_is(shade: float):
    """Mottle of 6 % along 20 samples is taken for a shadow in few, half a light joint in shadow is refused in most.

    The rest of these is for the neighbours to tell.
    """
    theta, slant = grooves(200, np.random.default_rng(31))
    theta[:, JOINT] = 0.8
    white = np.random.default_rng(32).normal(0.0, 0.06, (200, len(X_MM) + 300))
    mottle = lfilter([np.sqrt(1.0 - 0.95**2)], [1.0, -0.95], white, axis=1)[:, 300:]
    blur, start = np.exp(theta[:, [LOG_BLUR]]), theta[:, [CENTRE]] - theta[:, [WIDTH]] / 2.0
    band = ndtr((X_MM - start) / blur) - ndtr((X_MM - start - theta[:, [WIDTH]] / 2.0) / blur)
    across = Across(
        X_MM, profile(X_MM, slant, theta) * (1.0 + mottle) * (1.0 - shade * band), slant, np.full(200, 0.25)
    )
    fits = fit_twice(across)[0]
    reason = refusals(fits, across, 4.0)
    if shade:
        assert np.mean(reason == MEASURED) < 0.2
    else:
        assert np.mean(reason == REASONS.index("shadow")) < 0.15
        assert np.mean(reason == MEASURED) > 0.8
