"""Heights freed of their plane: flat is not level."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.readings.nodes import Nodes


def plane_basis(nodes: Nodes) -> NDArray[np.float64]:
    """(n, 3) orthonormal columns that span the planes over the nodes."""
    xy = nodes.xy_mm - nodes.xy_mm.mean(axis=0)
    return np.linalg.qr(np.column_stack([np.ones(nodes.count), xy / nodes.spacing_mm]))[0]


def without_plane(height_mm: NDArray[np.float64], nodes: Nodes) -> NDArray[np.float64]:
    """Heights (…, n), each freed of its least-squares plane over the nodes."""
    basis = plane_basis(nodes)
    return np.asarray(height_mm - (height_mm @ basis) @ basis.T, dtype=np.float64)
