"""What ``flatscan level`` needs of a run, kept in the result folder so that the scan is not read again."""

# ruff: noqa: TC001 - the file is read by these names when the program runs
from __future__ import annotations

import errno
import io
import zipfile
import zlib
from pathlib import Path
from typing import Any, Literal

import msgspec
import numpy as np

from flatscan.caveats import Caveat
from flatscan.comparing.kept import GapGrid, Kept
from flatscan.errors import InputError
from flatscan.judgement.verdict import AnswerCode, Point
from flatscan.levelling.basis import Basis
from flatscan.levelling.joints.joint_work import JointWork
from flatscan.levelling.plan import Product
from flatscan.quantity import Quantity
from flatscan.report.words.told_files import file_name
from flatscan.settings import Segment
from flatscan.sources.scan import ScanKind
from flatscan.sources.survey import survey_from
from flatscan.surface.surface import NoiseModel, Slope, Surface

FILE_NAME = "floor.npz"
_FORM: Literal["flatscan-floor/1"] = "flatscan-floor/1"
_GRIDS = ("height_mm", "estimate_mm", "white_mm", "inside")
#: What only a comparison with a later measurement asks for: files written before have none of it.
_PLANNED, _GAP, _GAP_U = "planned_mm", "gap_mm_", "gap_u_mm_"
_TYPES: dict[str, type[np.generic]] = {
    **dict.fromkeys((*_GRIDS, "correlated_scale", "realisations_mm"), np.float32),
    "inside": np.bool_,
}
_RINGS = ("outline_", "tile_")
#: A file that claims more cells than this was not written here.
_MOST_CELLS = 200_000_000
#: A floor of 50 m² in cells of 5 mm unpacks to 30 MB.
_MOST_BYTES, _MOST_UNPACKED_BYTES = 1_000_000_000, 2_000_000_000
#: What unpacking a file that is not whole, or not ours, may raise. RuntimeError: an archive with a password, or packed
#: in a way that is not known.
_BROKEN = (
    OSError, KeyError, ValueError, TypeError, AttributeError, EOFError, MemoryError, zlib.error, zipfile.BadZipFile,
    RuntimeError,
)  # fmt: skip
_ADVICE = "Run flatscan check again and give its result folder"


class _Slope(msgspec.Struct, frozen=True):
    value: float
    u: float
    direction_rad: float


class _Head(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that is not an array. Lengths in mm."""

    form: Literal["flatscan-floor/1"]
    cell_mm: float
    origin_mm: Point
    strip_mm: float
    kind: ScanKind
    noise: NoiseModel
    slope: _Slope | None
    outlines: int
    tiles: int
    gap_limits: tuple[tuple[float, float], ...]
    limit_ids: tuple[str, ...]
    answer: AnswerCode
    joint_work: JointWork | None
    tapped: int
    bad_taps: tuple[Point, ...]
    counted_bad: int = 0
    doors_mm: tuple[Segment, ...]
    directions: int
    bridge_mm: float
    caveats: tuple[Caveat, ...]
    product: Product | None = None
    survey_name: str = ""
    #: The survey file word for word; "": there was none.
    survey_text: str = ""
    #: Edge and block side of each gap grid. None: the file keeps nothing for a comparison.
    gap_grids: tuple[tuple[float, float], ...] | None = None


def basis_bytes(basis: Basis, kept: Kept | None = None) -> bytes:
    """The file: arrays as numpy stores them, the rest as JSON. The same bytes for the same run.

    ``kept``: what a comparison with a later measurement needs too.
    """
    surface = basis.surface
    slope = surface.slope
    head = _Head(
        form=_FORM,
        cell_mm=surface.cell_mm,
        origin_mm=surface.origin_mm,
        strip_mm=surface.strip_mm,
        kind=surface.kind,
        noise=surface.noise,
        slope=None if slope is None else _Slope(slope.fall.value, slope.fall.u, slope.direction_rad),
        outlines=len(surface.outline),
        tiles=len(basis.tiles),
        gap_limits=basis.gap_limits,
        limit_ids=basis.limit_ids,
        answer=basis.answer,
        joint_work=basis.joint_work,
        tapped=basis.tapped,
        bad_taps=basis.bad_taps,
        counted_bad=basis.counted_bad,
        doors_mm=basis.doors_mm,
        directions=basis.directions,
        bridge_mm=basis.bridge_mm,
        caveats=surface.caveats,
        product=basis.product,
        survey_name="" if basis.survey is None else file_name(basis.survey.file.path),
        survey_text="" if basis.survey is None else basis.survey.data.decode("utf-8"),
        gap_grids=None if kept is None else tuple((grid.edge_mm, grid.block_mm) for grid in kept.gaps),
    )
    arrays: dict[str, Any] = {name: getattr(surface, name) for name in _GRIDS}
    arrays["floor_from_scan"] = surface.floor_from_scan
    if surface.correlated_scale is not None:
        arrays["correlated_scale"] = surface.correlated_scale
    if surface.realisations_mm is not None:
        arrays["realisations_mm"] = surface.realisations_mm
    arrays |= {f"outline_{number}": ring for number, ring in enumerate(surface.outline)}
    arrays |= {f"tile_{number}": ring for number, ring in enumerate(basis.tiles)}
    if kept is not None:
        arrays[_PLANNED] = kept.planned_mm
        for number, grid in enumerate(kept.gaps):
            arrays |= {f"{_GAP}{number}": grid.gap_mm, f"{_GAP_U}{number}": grid.u_mm}
    arrays["head"] = np.frombuffer(msgspec.json.encode(head), dtype=np.uint8)
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **arrays)
    return buffer.getvalue()


def load_basis(path: Path) -> Basis:
    """The basis that was kept.

    Raises
    ------
    InputError
        for a file that is missing, broken or not written by ``basis_bytes``; nothing in it is run
    """
    return load_floor(path)[0]


def load_floor(path: Path) -> tuple[Basis, Kept | None]:
    """The basis, and what was kept for a comparison: None in a file of before there were comparisons.

    Raises InputError as ``load_basis`` does.
    """
    try:
        content = bytes_of(path)
    except FileNotFoundError as error:
        raise InputError(path.name, "the folder has no such file", _ADVICE) from error
    except OSError as error:
        raise InputError(path.name, f"cannot be read ({error.strerror})", _ADVICE) from error
    try:
        _check_size(content)
        with np.load(io.BytesIO(content), allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in stored.files}
        head = msgspec.json.decode(arrays.pop("head").tobytes(), type=_Head)
        return _basis(head, arrays), _kept(head, arrays)
    except _BROKEN as error:
        raise InputError(path.name, "it is broken or from another version", _ADVICE) from error


def bytes_of(path: Path) -> bytes:
    """A file of a result folder; raises OSError for a pipe or a device, which would be read without end, too."""
    if path.exists() and not path.is_file():
        raise OSError(errno.EINVAL, "it is no file", str(path))
    if path.is_file() and path.stat().st_size > _MOST_BYTES:
        raise OSError(errno.EFBIG, "it is far too large", str(path))
    return path.read_bytes()


def _check_size(content: bytes) -> None:
    """Raise ValueError for an archive that unpacks to more than any floor takes: no more is unpacked than it states."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        if sum(entry.file_size for entry in archive.infolist()) > _MOST_UNPACKED_BYTES:
            raise ValueError("too large for a floor")


def _check(arrays: dict[str, Any]) -> None:
    """Raise ValueError for arrays that are no floor's."""
    height = arrays["height_mm"]
    if height.ndim != 2 or height.size > _MOST_CELLS:  # noqa: PLR2004 - a grid
        raise ValueError(f"not a floor's grid: {height.shape}")
    for name, array in arrays.items():
        wanted = _TYPES.get(name, np.float32 if name.startswith((_PLANNED, _GAP, _GAP_U)) else np.float64)
        if array.dtype != wanted:
            raise ValueError(f"{name} is {array.dtype}, not {np.dtype(wanted)}")
        if name.startswith(_RINGS) and array.shape[1:] != (2,):
            raise ValueError(f"{name} is no ring: {array.shape}")
    if arrays["floor_from_scan"].shape != (4, 4):
        raise ValueError("floor_from_scan is no transform")
    if not np.array_equal(np.isfinite(arrays["estimate_mm"]), np.isfinite(height)):
        raise ValueError("estimate_mm is not of the floor that was seen")


def _basis(head: _Head, arrays: dict[str, Any]) -> Basis:
    height = arrays["height_mm"]
    _check(arrays)
    surface = Surface(
        **{name: arrays[name] for name in _GRIDS},
        count=np.isfinite(height).astype(np.int32),
        cell_mm=head.cell_mm,
        origin_mm=head.origin_mm,
        floor_from_scan=arrays["floor_from_scan"],
        outline=tuple(arrays[f"outline_{number}"] for number in range(head.outlines)),
        noise=head.noise,
        slope=None
        if head.slope is None
        else Slope(Quantity(head.slope.value, head.slope.u, "mm/m"), head.slope.direction_rad),
        kind=head.kind,
        strip_mm=head.strip_mm,
        correlated_scale=arrays.get("correlated_scale"),
        realisations_mm=arrays.get("realisations_mm"),
        caveats=head.caveats,
    )
    return Basis(
        surface=surface,
        gap_limits=head.gap_limits,
        limit_ids=head.limit_ids,
        answer=head.answer,
        joint_work=head.joint_work,
        tiles=tuple(arrays[f"tile_{number}"] for number in range(head.tiles)),
        tapped=head.tapped,
        bad_taps=head.bad_taps,
        counted_bad=head.counted_bad,
        doors_mm=head.doors_mm,
        directions=head.directions,
        bridge_mm=head.bridge_mm,
        product=head.product,
        survey=survey_from(Path(head.survey_name), head.survey_text.encode("utf-8")) if head.survey_name else None,
    )


def _kept(head: _Head, arrays: dict[str, Any]) -> Kept | None:
    if head.gap_grids is None:
        return None
    if arrays[_PLANNED].shape != arrays["height_mm"].shape:
        raise ValueError("planned_mm is not of this floor")
    grids = []
    for number, (edge_mm, block_mm) in enumerate(head.gap_grids):
        gap, u = arrays[f"{_GAP}{number}"], arrays[f"{_GAP_U}{number}"]
        rows, cols = (-(-side // max(1, round(block_mm / head.cell_mm))) for side in arrays["height_mm"].shape)
        if gap.shape != (rows, cols) or u.shape != gap.shape:
            raise ValueError("a gap grid is not of this floor")
        grids.append(GapGrid(edge_mm, block_mm, gap, u))
    return Kept(arrays[_PLANNED], tuple(grids))
