"""Fits run on all threads: what one thread gives, many give to the last bit."""

from __future__ import annotations

import numba
import numpy as np

from flatscan.measures.joints.widths.groove_fit import settle
from flatscan.measures.joints.widths.groove_model import PARAMETERS


def test_one_thread_and_all_of_them_agree_to_the_last_bit() -> None:
    rng = np.random.default_rng(0)
    x_mm, rows = np.arange(-10.0, 10.01, 0.25), 200
    start = np.array([0.4, 0.2, 0.4, 0.0, 5.0, np.log(0.5), 2.0, 0.5])
    assert len(start) == PARAMETERS
    starts = start + 0.02 * rng.standard_normal((rows, 3, PARAMETERS))
    tone = np.where(np.abs(x_mm) < 2.5, 0.2, 0.4) + 0.01 * rng.standard_normal((rows, len(x_mm)))
    prior = np.stack([starts[:, 0], np.ones((rows, PARAMETERS))], axis=1)
    given = (x_mm, tone, np.ones_like(tone), np.zeros(rows), starts, prior)
    together = settle(*given)
    threads = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        alone = settle(*given)
    finally:
        numba.set_num_threads(threads)
    assert np.isfinite(alone).all()
    assert np.array_equal(together, alone)
