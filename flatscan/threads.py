"""Which threads the compiled loops run on; imported for its effect before any of them runs."""

from __future__ import annotations

import os

from numba import config

#: OpenMP first: a TBB that another package has loaded may be older than numba takes, which then warns in its name.
if "NUMBA_THREADING_LAYER_PRIORITY" not in os.environ:
    config.THREADING_LAYER_PRIORITY = ["omp", "tbb", "workqueue"]  # type: ignore[attr-defined]
