"""Numbers with one home. Each says where it comes from; trade values live in data files instead."""

from __future__ import annotations

from statistics import NormalDist

#: Coverage factor of the expanded uncertainty shown to people, U = k u (JCGM 100, 6.2.1).
COVERAGE_K = 2.0

#: Standard deviation per median absolute deviation of a normal distribution (exact: 1/Phi^-1(3/4)).
SIGMA_PER_MAD = 1.0 / NormalDist().inv_cdf(0.75)

#: Half width of a central 95 % interval in standard deviations (exact: Phi^-1(0.975)).
Z_95_CENTRAL = NormalDist().inv_cdf(0.975)

MM_PER_M = 1000.0
MM2_PER_M2 = 1.0e6
MM3_PER_LITRE = 1.0e6
