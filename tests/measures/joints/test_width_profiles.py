"""The fit of two blurred edges to profiles whose truth is an integral in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.signal import fftconvolve, lfilter
from scipy.special import ndtr

from flatscan.measures.joints.widths.doubts import blur_doubt
from flatscan.measures.joints.widths.fit import fit_profiles
from flatscan.measures.joints.widths.profile_model import (
    CENTRE,
    JOINT,
    LEFT,
    LOG_BLUR,
    PARAMETERS,
    RIGHT,
    WIDTH,
    profile,
    profile_and_slopes,
)
from flatscan.measures.joints.widths.repeats import noise_of
from flatscan.measures.joints.widths.start import best_band, start_of

PIXEL_MM = 0.25
X_MM = np.arange(-120, 121) * PIXEL_MM / 2.0


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


def fitted(tone: np.ndarray, x_mm: np.ndarray = X_MM, search_mm: float = 4.0):
    start = start_of(best_band(x_mm, tone, search_mm), 0.3)
    weight = (np.abs(x_mm - start[:, [CENTRE]]) < start[:, [WIDTH]] / 2.0 + 4.5).astype(float)
    return fit_profiles(x_mm, tone, weight, start), weight


def test_the_slopes_are_those_of_the_profile():
    rng = np.random.default_rng(3)
    theta = np.column_stack([rng.uniform(0.1, 0.8, (20, 3)), rng.normal(0, 1, 20), rng.uniform(2, 9, 20)])
    theta = np.column_stack([theta, np.log(rng.uniform(0.2, 0.8, 20)), rng.normal(0, 0.1, (20, 3))])
    slopes = profile_and_slopes(X_MM, theta)[1]
    for column in range(PARAMETERS):
        step = np.zeros(PARAMETERS)
        step[column] = 1e-5
        by_difference = (profile(X_MM, theta + step) - profile(X_MM, theta - step)) / 2e-5
        # Central differences of a function of curvature below 100: 1e-10 · 100 / 6, and rounding 1e-16 / 1e-5.
        assert np.abs(slopes[..., column] - by_difference).max() < 1e-7


@pytest.mark.parametrize("blur_px", [0.75, 1.0, 1.5, 1.98])
@pytest.mark.parametrize("noise", [2.0 / 255.0, 6.0 / 255.0])
def test_the_bias_stays_below_a_tenth_of_a_pixel(blur_px: float, noise: float):
    """Sixty rows averaged, joints from 8 px on and no narrower than three blurs: on average right to 0.1 px."""
    rng = np.random.default_rng(5)
    width = rng.uniform(8.0, 24.0, 200) * PIXEL_MM
    tone = seen(width, rng.uniform(-2.0, 2.0, 200), blur_px)
    fits, _ = fitted(tone + rng.normal(0.0, noise / np.sqrt(60.0), tone.shape))
    off = (fits.theta[:, WIDTH] - width) / PIXEL_MM
    # The mean of 200 has a standard error of at most 0.01 px, so 0.1 px is no luck.
    assert abs(off.mean()) < 0.1
    assert np.abs(off).max() < 0.35


def test_half_of_maximum_would_not_do():
    """What the free blur buys: at 8 px and a blur of 2.5 px the crossings at mid-tone are off, the fit is not."""
    tone = seen(np.array([8.0 * PIXEL_MM]), np.zeros(1), 2.5, tones=(0.5, 0.1, 0.5))
    middle = 0.5 * (0.5 + tone[0].min())
    right = X_MM >= 0.0
    by_half = 2.0 * np.interp(middle, tone[0, right], X_MM[right]) / PIXEL_MM
    fits, _ = fitted(tone)
    assert abs(by_half - 8.0) > 0.2
    assert abs(fits.theta[0, WIDTH] / PIXEL_MM - 8.0) < 0.1


def test_parameters_and_covariance_are_those_of_an_independent_fit():
    """scipy.optimize.curve_fit (MINPACK, numerical slopes) on the same samples finds the same minimum."""
    rng = np.random.default_rng(8)
    tone = seen(rng.uniform(2.5, 8.0, 30), rng.uniform(-2.0, 2.0, 30), 1.2)
    tone = tone + rng.normal(0.0, 0.01, tone.shape)
    fits, weight = fitted(tone)

    def model(x, *p):
        return profile(x, np.array([[*p, 0.0, 0.0, 0.0]]))[0]

    ratios = []
    for row in range(30):
        use = weight[row] > 0
        found, covariance = curve_fit(model, X_MM[use], tone[row, use], p0=fits.theta[row, :6] * 1.02 + 0.01)
        assert np.abs(found - fits.theta[row, :6]).max() < 1e-4
        ratios.append(fits.covariance[row, WIDTH, WIDTH] / covariance[WIDTH, WIDTH])
    # White noise: the sample correlation adds scatter but no trend.
    assert 0.75 < np.median(ratios) < 1.25


@pytest.mark.parametrize("memory", [0.0, 0.7])
def test_the_uncertainty_holds_with_correlated_residuals(memory: float):
    """|z| < 2 in 93 to 97 % is asked of 1,500 profiles; with n = 1,500 the share itself scatters by 0.6 %."""
    rng = np.random.default_rng(13)
    width = rng.uniform(3.0, 8.0, 1500)
    tone = seen(width, rng.uniform(-2.0, 2.0, 1500), 1.2)
    white = rng.normal(0.0, 0.01, (1500, len(X_MM) + 50))
    noise = lfilter([1.0], [1.0, -memory], white, axis=1)[:, 50:]
    fits, _ = fitted(tone + noise)
    # The pixel's box makes the blur a little other than Gaussian: below 0.01 mm at these widths.
    z = (fits.theta[:, WIDTH] - width) / np.sqrt(fits.covariance[:, WIDTH, WIDTH])
    held = np.mean(np.abs(z) < 2.0)
    assert 0.93 - 0.012 < held < 0.97 + 0.012
    assert abs(z.mean()) < 0.15


def test_repeats_of_parts_widen_what_residuals_do_not_see():
    """A joint whose width wanders between parts has an uncertainty of its own; z is then standard, to 10 %."""
    rng = np.random.default_rng(2)
    parts = rng.normal(0.0, 0.3, (4000, 3))
    u = noise_of(np.full(4000, 0.02), parts)
    assert np.mean(np.abs(parts.mean(axis=1) / u) < 2.0) == pytest.approx(0.954, abs=0.02)
    assert noise_of(np.full(50, 0.05), np.full((50, 3), 4.0)) == pytest.approx(np.sqrt(4.0 / 6.0) * 0.05)


def test_polarity_mirror_and_scale_change_nothing():
    rng = np.random.default_rng(21)
    tone = seen(rng.uniform(2.5, 8.0, 40), rng.uniform(-2.0, 2.0, 40), 1.3) + rng.normal(0.0, 0.005, (40, len(X_MM)))
    plain = fitted(tone)[0].theta
    assert fitted(0.9 - tone)[0].theta[:, WIDTH] == pytest.approx(plain[:, WIDTH], abs=1e-5)
    mirrored = fitted(tone[:, ::-1])[0].theta
    assert mirrored[:, WIDTH] == pytest.approx(plain[:, WIDTH], abs=1e-4)
    assert mirrored[:, CENTRE] == pytest.approx(-plain[:, CENTRE], abs=1e-4)
    assert mirrored[:, [RIGHT, JOINT, LEFT]] == pytest.approx(plain[:, [LEFT, JOINT, RIGHT]], abs=1e-4)
    brighter = fitted(1.7 * tone)[0].theta
    assert brighter[:, WIDTH] == pytest.approx(plain[:, WIDTH], abs=1e-5)


def test_profiles_are_fitted_each_by_itself():
    rng = np.random.default_rng(4)
    tone = seen(rng.uniform(2.5, 8.0, 7), rng.uniform(-2.0, 2.0, 7), 1.3) + rng.normal(0.0, 0.01, (7, len(X_MM)))
    together = fitted(tone)[0].theta
    alone = np.concatenate([fitted(tone[row : row + 1])[0].theta for row in range(7)])
    assert together == pytest.approx(alone, abs=1e-9)


KERNELS = {
    "box": lambda t, s: (np.abs(t) <= s * np.sqrt(3.0)).astype(float),
    "disc": lambda t, s: np.sqrt(np.maximum(4.0 * s * s - t * t, 0.0)),
    "smear": lambda t, s: np.maximum(2.0 * s * np.sqrt(1.5) - np.abs(t), 0.0),
    "exponential": lambda t, s: np.exp(-np.abs(t) * np.sqrt(2.0) / s),
}


@pytest.mark.parametrize("blurs", [4.0, 5.0, 6.0, 8.0])
def test_other_blurs_are_within_their_doubt(blurs: float):
    """Shapes of equal deviation, fitted as Gaussian: rms error within 1.3 times the stated doubt, each within 2.5."""
    fine, sigma = np.arange(-12000, 12001) * 0.001, 0.4
    width = blurs * sigma
    x = np.arange(-200, 201) * 0.05
    errors = []
    for kernel in KERNELS.values():
        weight = kernel(fine, sigma)
        blurred = 0.5 - fftconvolve((np.abs(fine) < width / 2.0) * 0.4, weight / weight.sum(), "same")
        start = np.zeros((1, PARAMETERS))
        start[0, [RIGHT, JOINT, LEFT, WIDTH, LOG_BLUR]] = 0.5, 0.1, 0.5, width, np.log(sigma)
        near = (np.abs(x) < width / 2.0 + 4.5)[None].astype(float)
        errors.append(fit_profiles(x, np.interp(x, fine, blurred)[None], near, start).theta[0, WIDTH] - width)
    # No contrast: the part of the tone curve is 0, that of the shape is left.
    stated = blur_doubt(np.array([width]), np.array([sigma]), np.array([1.0]), np.array([1.0]))[0]
    assert np.sqrt(np.mean(np.square(errors))) < 1.3 * stated
    assert np.abs(errors).max() < 2.5 * stated


@pytest.mark.parametrize("ratio", [0.2, 0.5, 2.0, 4.0])
def test_a_wrong_tone_curve_is_within_its_doubt(ratio: float):
    """Fit y^1.1 instead of y: the width moves by what the first-order formula says, to a quarter."""
    blur, width = 0.3, 5.0
    theta = np.zeros((1, PARAMETERS))
    theta[0, [RIGHT, JOINT, LEFT, WIDTH, LOG_BLUR]] = 0.2, 0.2 * ratio, 0.2, width, np.log(blur)
    bent = profile(X_MM, theta) ** 1.1
    fits, _ = fitted(bent)
    stated = blur_doubt(np.array([width]), np.array([blur]), np.array([ratio]), np.array([1.0]))[0]
    assert abs(fits.theta[0, WIDTH] - width) == pytest.approx(stated, rel=0.35)
