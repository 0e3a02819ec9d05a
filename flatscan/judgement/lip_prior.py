"""What the floor's other lips say of one of them: a doubtful large value among small ones is more likely noise."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import SIGMA_PER_MAD
from flatscan.judgement.decision import chance_size_over

if TYPE_CHECKING:
    from flatscan.measures.joints.joints import Joints

#: Share of lips that come from tiles laid badly or moved since, and the standard deviation of those, mm (assumption;
#: common practice, no source). A lip as large as the limit is nothing unusual among them.
_BAD_SHARE = 0.05
_BAD_MM = 3.0
#: Usual lips of a floor are never taken as smaller than this, and as this where too few joints tell, mm.
_LEAST_MM = 0.1
_UNKNOWN_MM = 0.5
_FEW_JOINTS = 10


@dataclass(frozen=True, slots=True)
class LipPrior:
    """State of knowledge of a lip before it is measured: nearly always a usual one, now and then a bad one.

    Both are normal about zero: ``usual_mm`` is the standard deviation of the floor's own lips.
    """

    usual_mm: float

    def chance_over(self, value: float, u: float, limit: float) -> float:
        """The chance that the lip's size is over, given the measured ``value`` ± ``u`` (JCGM 106, 6.2 and 7.2).

        Posterior of a mixture of two normals: each by its own share times how well it foretells the value.
        """
        if u == 0.0:
            return float(abs(value) > limit)
        logs, chances = [], []
        for share, sd in ((1.0 - _BAD_SHARE, self.usual_mm), (_BAD_SHARE, max(_BAD_MM, limit))):
            foretold = math.hypot(sd, u)
            logs.append(math.log(share / foretold) - 0.5 * (value / foretold) ** 2)
            known = (sd / foretold) ** 2
            chances.append(chance_size_over(known * value, math.sqrt(known) * u, limit))
        weights = np.exp(np.array(logs) - max(logs))
        return float(weights @ np.array(chances) / weights.sum())


def lip_prior(joints: Joints) -> LipPrior:
    """The floor's usual lip, from the scatter of the better known half of its joints less their uncertainty."""
    lips = [s.lip for joint in joints.joints for s in joint.stations[len(joint.stations) // 2 :][:1] if s.lip]
    known = np.array([(lip.value, lip.u) for lip in lips if math.isfinite(lip.u)]).reshape(-1, 2)
    if len(known) < _FEW_JOINTS:
        return LipPrior(_UNKNOWN_MM)
    better = known[known[:, 1] <= np.median(known[:, 1])]
    scatter = (SIGMA_PER_MAD * float(np.median(np.abs(better[:, 0])))) ** 2
    return LipPrior(math.sqrt(max(scatter - float(np.median(better[:, 1])) ** 2, _LEAST_MM**2)))
