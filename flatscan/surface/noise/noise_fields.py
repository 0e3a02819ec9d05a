"""Fields of noise after the model: how their energy spreads over the cosine waves of a grid, and samples of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: A Gaussian covariance is nothing (4e-6) beyond this many lengths.
_FADES_AFTER = 5.0
_BEND_SAMPLES = 20_000
#: Pivot below which the seen cells lie on a line or two and carry no bend (terms are at most 1).
_ON_A_LINE = 1e-6
#: A transform of fewer cells than this is done before a second thread has started.
_WORTH_A_THREAD = 200_000


def workers_for(cells: int) -> int:
    """Threads for the transform of a field of so many cells."""
    return 2 if cells >= _WORTH_A_THREAD else 1


def correlated_energy(shape: tuple[int, int], length_cells: float) -> NDArray[np.float64]:
    """(rows, cols) expected squared coefficient of each wave of the orthonormal DCT-II, for unit variance.

    The covariance exp(-½ d²/l²) is a product over the axes, and so is this. Its mean over the grid is 1.
    """
    along_y, along_x = (_energy_along(side, length_cells) for side in shape)
    return along_y[:, None] * along_x[None, :]


def _energy_along(n: int, length_cells: float) -> NDArray[np.float64]:
    """Diagonal of V K Vᵀ, V the orthonormal DCT-II and K the n x n covariance, without forming either.

    Σᵢ v(i) v(i+d) over the n-d pairs at distance d has the closed form
    ((n-d) cos θd - sin θd / sin θ)/n with θ = πk/n, from the sum of a cosine progression.
    """
    k = np.arange(1, n)[:, None]
    d = np.arange(1, min(n, int(np.ceil(_FADES_AFTER * length_cells)) + 1))[None, :]
    covariance = np.exp(-0.5 * (d / length_cells) ** 2)
    theta = np.pi * k / n
    pairs = ((n - d) * np.cos(theta * d) - np.sin(theta * d) / np.sin(theta)) / n
    flat = 1.0 + 2.0 * float((covariance * (n - d) / n).sum())
    waves = 1.0 + 2.0 * (pairs * covariance).sum(axis=1)
    return np.asarray(np.maximum(np.concatenate([[flat], waves]), 0.0), dtype=np.float64)


def sample_correlated(shape: tuple[int, int], length_cells: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """(rows, cols) float32 sample of a unit-variance field with covariance exp(-½ d²/l²).

    Circulant embedding (Dietrich & Newsam 1997): the grid is padded until opposite borders no longer know of
    each other, then white noise is filtered by the root of the spectrum.
    """
    from scipy.fft import irfft2, next_fast_len, rfft2

    pad = int(np.ceil(_FADES_AFTER * length_cells))
    rows, cols = (next_fast_len(side + pad, real=True) for side in shape)
    root_y = np.sqrt(_circulant_spectrum(rows, length_cells))
    root_x = np.sqrt(_circulant_spectrum(cols, length_cells)[: cols // 2 + 1])
    white = rng.standard_normal((rows, cols), dtype=np.float32)
    workers = workers_for(rows * cols)
    spectrum = rfft2(white, workers=workers)
    spectrum *= root_y[:, None]
    spectrum *= root_x[None, :]
    return np.asarray(irfft2(spectrum, (rows, cols), workers=workers)[: shape[0], : shape[1]], dtype=np.float32)


def _circulant_spectrum(n: int, length_cells: float) -> NDArray[np.float32]:
    distance = np.minimum(np.arange(n), n - np.arange(n))
    spectrum = np.fft.fft(np.exp(-0.5 * (distance / length_cells) ** 2)).real
    return np.maximum(spectrum, 0.0).astype(np.float32)


def sample_bend(seen: NDArray[np.bool_], rng: np.random.Generator) -> NDArray[np.float32]:
    """(rows, cols) float32 sample of a slow bend: x², xy and y², freed of their plane, of unit mean square where seen.

    One draw has its own size; over many draws the mean square over the seen cells is 1.
    """
    mix = bend_mix(seen)
    if mix is None:
        return np.zeros(seen.shape, dtype=np.float32)
    rows, cols = seen.shape
    v, u = np.linspace(-1.0, 1.0, rows), np.linspace(-1.0, 1.0, cols)
    c = mix @ rng.standard_normal(3)
    along_y = (c[0] + c[2] * v + c[5] * v * v).astype(np.float32)
    along_x = (c[1] * u + c[3] * u * u).astype(np.float32)
    both = (c[4] * v).astype(np.float32)
    return np.asarray(along_y[:, None] + along_x[None, :] + both[:, None] * u[None, :].astype(np.float32))


def bend_mix(seen: NDArray[np.bool_]) -> NDArray[np.float64] | None:
    """(6, 3) float64: a bend is Σ columns · independent unit normals, in terms 1, x, y, x², xy, y², each axis -1 to 1.

    None where the seen cells carry no bend.
    """
    rows, cols = seen.shape
    v, u = np.linspace(-1.0, 1.0, rows), np.linspace(-1.0, 1.0, cols)
    at = np.flatnonzero(seen)
    if len(at) < 6:  # noqa: PLR2004 - six terms
        return None
    at = at[:: max(1, len(at) // _BEND_SAMPLES)]
    y, x = v[at // cols], u[at % cols]
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    # TᵀT = RᵀR: column j of T R⁻¹ is orthonormal and free of all columns before it (Gram-Schmidt).
    moments = terms.T @ terms / len(at)
    try:
        r = np.linalg.cholesky(moments).T
    except np.linalg.LinAlgError:
        return None
    if np.diag(r).min() < _ON_A_LINE:
        return None
    return np.asarray(np.linalg.inv(r)[:, 3:] / np.sqrt(3.0))
