"""Which way is up and whether it is plumb: stated by the person, the format, or inferred."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import Caveat, caveat
from flatscan.errors import SettingsError
from flatscan.sources.up_axis import infer_up, nearest_axis

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.settings import ReadSettings
    from flatscan.sources.scan import Scan

#: Up by habit of the writers of a format; everything else writes z up.
_Y_UP_READERS = frozenset({"obj"})
_NEAR_AXIS = float(np.cos(np.radians(15.0)))


def axis_vector(name: str) -> NDArray[np.float64]:
    """Unit vector of an axis name such as ``"-z"``."""
    vector = np.zeros(3)
    vector["xyz".index(name[-1])] = -1.0 if name.startswith("-") else 1.0
    return vector


def axis_name(direction: NDArray[np.float64]) -> str:
    """``"z"`` for an axis, else the direction in numbers."""
    axis = nearest_axis(direction)
    if np.allclose(axis, direction, atol=1e-9):
        k = int(np.argmax(np.abs(axis)))
        return ("-" if axis[k] < 0 else "") + "xyz"[k]
    return "direction (" + ", ".join(f"{v:.2f}" for v in direction) + ")"


def oriented(scan: Scan, settings: ReadSettings, where: str) -> Scan:
    """The scan with ``up`` and ``gravity_known`` as stated, promised or inferred.

    A promise of the format that up is plumb holds only for the axis it names: another axis given by
    the person needs its own ``gravity=True``.
    """
    up, promised = scan.up, scan.gravity_known
    lines: tuple[str, ...] = ()
    doubts: tuple[Caveat, ...] = ()
    if settings.up is not None:
        stated = axis_vector(settings.up)
        promised = promised and up is not None and bool(np.allclose(up, stated))
        up = stated
        lines = (f"up is {settings.up}, stated by --up",)
    elif up is None and scan.kind in {"cloud", "mesh"}:
        usual = axis_vector("y" if scan.inputs[0].kind in _Y_UP_READERS else "z")
        guess = infer_up(scan.points_mm, scan.viewpoints_mm, usual)
        if guess is None:
            lines = ("up could not be told from the points; the floor is looked for in all directions",)
        else:
            up = guess.direction
            lines = (f"up is {axis_name(up)}, inferred: {guess.reason}",)
            doubts = (caveat("up_inferred", axis=axis_name(up), reason=guess.reason),)
    if settings.gravity is True and not promised:
        up = _plumb_axis(up, where)
    gravity_known = promised if settings.gravity is None else settings.gravity
    return replace(
        scan,
        up=up,
        gravity_known=gravity_known,
        inferences=(*scan.inferences, *lines),
        caveats=(*scan.caveats, *doubts),
    )


def _plumb_axis(up: NDArray[np.float64] | None, where: str) -> NDArray[np.float64]:
    """A levelled instrument's vertical is an axis of its frame, not the floor's normal."""
    if up is None:
        raise SettingsError("--gravity", f"which axis of {where} is vertical is not known", "State it with --up")
    axis = nearest_axis(up)
    if float(axis @ up) < _NEAR_AXIS:
        raise SettingsError(
            "--gravity", f"no axis of {where} is near the direction {axis_name(up)} that looks up", "State it with --up"
        )
    return axis
