"""The table of readers: which of them a path gets. A new format is a new row here."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any, Literal

from flatscan.errors import InputError
from flatscan.sources.detection import (
    Head,
    head_of,
    is_gltf,
    is_obj,
    is_pcd,
    is_stl,
    is_text_cloud,
    starts_with,
)
from flatscan.sources.guard import library_errors
from flatscan.sources.hand.field_table import is_read_by_hand

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from flatscan.progress import Progress
    from flatscan.settings import ReadSettings
    from flatscan.sources.scan import Scan

Group = Literal["depth", "cloud"]


@dataclass(frozen=True, slots=True)
class Reader:
    """One kind of file.

    ``kind`` is what people call it, in messages. ``function`` is ``module:name``, imported when first used.
    ``certain``: its first bytes are unmistakable, so the content is believed over a wrong name. Files of the
    group ``cloud`` can be read together.
    """

    name: str
    kind: str
    group: Group
    suffixes: tuple[str, ...]
    looks_like: Callable[[Head], bool]
    function: str
    certain: bool = True


@dataclass(frozen=True, slots=True)
class FolderReader:
    """A folder layout, known by a file that must lie in it."""

    name: str
    marker: str
    function: str


_MOST_FOLDERS = 100
#: What a folder without a capture may hold instead.
_PHOTO_SUFFIXES = {".jpg", ".jpeg", ".png", ".heic", ".webp"}
_HERE = "flatscan.sources."
_MESH = _HERE + "clouds.mesh:read_mesh"

READERS: tuple[Reader, ...] = (
    Reader("las", "LAS or LAZ", "cloud", (".las", ".laz"), starts_with(b"LASF"), _HERE + "clouds.las:read_las"),
    Reader("e57", "E57", "cloud", (".e57",), starts_with(b"ASTM-E57"), _HERE + "clouds.e57:read_e57"),
    Reader("ply", "PLY", "cloud", (".ply",), starts_with(b"ply\n", b"ply\r"), _HERE + "clouds.ply:read_ply"),
    Reader("pcd", "PCD", "cloud", (".pcd",), is_pcd, _HERE + "clouds.pcd:read_pcd"),
    Reader("glb", "glTF", "cloud", (".glb",), starts_with(b"glTF"), _MESH),
    Reader("gltf", "glTF", "cloud", (".gltf",), is_gltf, _MESH, certain=False),
    Reader("obj", "OBJ", "cloud", (".obj",), is_obj, _MESH, certain=False),
    Reader("stl", "STL", "cloud", (".stl",), is_stl, _MESH, certain=False),
    Reader(
        "text",
        "rows of x y z as text",
        "cloud",
        (".xyz", ".txt", ".csv", ".asc", ".pts", ".tsv", ".xyzrgb", ".neu"),
        is_text_cloud,
        _HERE + "clouds.text_cloud:read_text_cloud",
        certain=False,
    ),
    Reader(
        "depth_image",
        "a depth image (PNG, TIFF, NPY)",
        "depth",
        (".png", ".tif", ".tiff", ".npy"),
        starts_with(b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*", b"II+\0", b"MM\0+", b"\x93NUMPY"),
        _HERE + "depth.single_depth:read_single_depth",
    ),
)  # fmt: skip

FOLDER_READERS: tuple[FolderReader, ...] = (
    FolderReader("transforms", "transforms.json", _HERE + "depth.posed_frames:read_transforms"),
    FolderReader("tum", "depth.txt", _HERE + "depth.tum:read_tum"),
)


@dataclass(frozen=True, slots=True)
class Chosen:
    """A path with its reader; ``line`` says so when the choice was not the obvious one."""

    path: Path
    reader: Reader | FolderReader
    line: str | None = None

    @property
    def group(self) -> Group:
        """What kind of capture it is part of."""
        return self.reader.group if isinstance(self.reader, Reader) else "depth"

    def read(self, settings: ReadSettings, progress: Progress) -> Scan:
        """Import the reader and use it."""
        module, _, name = self.reader.function.partition(":")
        function: Any = getattr(import_module(module), name)
        scan: Scan = function(self.path, settings, progress)
        return scan


def known_kinds() -> str:
    """What can be checked, in words, in the order of the table."""
    return ", ".join([*dict.fromkeys(row.kind for row in READERS), "hand readings"])


def choose(path: Path) -> list[Chosen]:
    """The reader of a file, or of what a folder holds; raises ``InputError`` when there is none."""
    with library_errors(path, "it cannot be looked at"):
        is_folder, is_file, exists = path.is_dir(), path.is_file(), path.exists()
    if is_folder:
        return _choose_in_folder(path)
    if not is_file:
        what = "it is neither a file nor a folder" if exists else "there is no such file or folder"
        raise InputError(path, what, "Check the path")
    for folder_row in FOLDER_READERS:
        if path.name == folder_row.marker and folder_row.marker.endswith(".json"):
            return [Chosen(path.parent, folder_row)]
    return [_choose_file(path)]


def _choose_file(path: Path) -> Chosen:
    head = head_of(path)
    if head.size == 0:
        raise InputError(path, "the file is empty", "Export or copy the capture again")
    if is_read_by_hand(path):
        raise InputError(
            path,
            "it is a table of readings by hand, not a capture",
            "Give it to flatscan check, or to read_field_readings",
        )
    named = [row for row in READERS if path.suffix.lower() in row.suffixes]
    for row in named:
        if row.looks_like(head):
            return Chosen(path, row)
    certain = [row for row in READERS if row.certain and row.looks_like(head)]
    if len(certain) == 1:
        row = certain[0]
        return Chosen(path, row, f"{path.name}: read as {row.name}, which its first bytes say, not its name")
    if named:
        raise InputError(
            path,
            f"it is named {path.suffix} but its first bytes are not those of such a file",
            "Export the capture again, or give the file the suffix of what it holds",
        )
    raise InputError(
        path,
        f"files named {path.suffix or 'without a suffix'} are not read",
        f"Give a folder of depth frames, or one of {known_kinds()}",
    )


def _choose_in_folder(folder: Path) -> list[Chosen]:
    """A folder of depth frames, or the one capture (or the clouds) that lie in it."""
    with library_errors(folder, "the folder cannot be read", "Check its permissions"):
        files = sorted(p for p in folder.iterdir() if not p.name.startswith(".") and p.is_file())
    names = {file.name for file in files}
    for row in FOLDER_READERS:
        if row.marker in names:
            return [Chosen(folder, row)]
    found = [chosen for file in files if (chosen := _candidate(file)) is not None]
    if not found:
        raise _nothing_in(folder)
    if len(found) > 1 and any(chosen.group != "cloud" for chosen in found):
        listed = ", ".join(chosen.path.name for chosen in found[:6])
        raise InputError(folder, f"the folder holds several captures: {listed}", "Name the one to read")
    line = f"{folder.name}: found {', '.join(chosen.path.name for chosen in found)} in the folder"
    return [Chosen(chosen.path, chosen.reader, line if k == 0 else None) for k, chosen in enumerate(found)]


def _nothing_in(folder: Path) -> InputError:
    """The error for a folder without a capture; one that lies a folder deeper is named."""
    deeper = [sub for sub in _subfolders(folder) if holds_capture(sub)]
    photos = sum(1 for file in folder.iterdir() if file.suffix.lower() in _PHOTO_SUFFIXES)
    if not deeper and photos:
        return InputError(
            folder,
            f"the folder holds {photos} pictures but neither depth nor where they were taken from",
            "Export the capture with depth and camera poses (transforms.json); pictures alone cannot be measured",
        )
    if not deeper:
        return InputError(
            folder,
            "the folder holds no capture that can be read",
            f"Give a folder with transforms.json or depth.txt in it, or one of {known_kinds()}",
        )
    many = "one of its folders does" if len(deeper) == 1 else f"{len(deeper)} of its folders do"
    which = "that one:" if len(deeper) == 1 else "one of them, such as"
    return InputError(folder, f"the folder itself holds no capture, but {many}", f"Give {which} {deeper[0]}")


def _subfolders(folder: Path) -> list[Path]:
    """The folders in it and in those, nearest first, so many that looking stays quick."""
    near = _folders_in(folder)
    return [*near, *(sub for one in near for sub in _folders_in(one))][:_MOST_FOLDERS]


def _folders_in(folder: Path) -> list[Path]:
    try:
        return sorted(p for p in folder.iterdir() if not p.name.startswith(".") and p.is_dir())
    except OSError:  # one that may not be read holds nothing to name
        return []


def holds_capture(folder: Path) -> bool:
    """Whether giving this folder would be right; a lone picture is no capture."""
    try:
        files = sorted(p for p in folder.iterdir() if not p.name.startswith(".") and p.is_file())
        if {row.marker for row in FOLDER_READERS} & {file.name for file in files}:
            return True
        groups = [chosen.group for file in files if (chosen := _candidate(file)) is not None]
    except (OSError, InputError):
        return False
    return set(groups) == {"cloud"}


def _candidate(file: Path) -> Chosen | None:
    """The file's reader when both its name and its first bytes agree on one."""
    named = [row for row in READERS if file.suffix.lower() in row.suffixes]
    if not named or is_read_by_hand(file):  # readings beside a capture are no second one
        return None
    head = head_of(file)
    return next((Chosen(file, row) for row in named if row.looks_like(head)), None)
