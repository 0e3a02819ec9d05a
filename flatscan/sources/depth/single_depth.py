"""One depth image with a camera file: the scan is in the camera's own axes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.errors import InputError
from flatscan.progress import SILENT, Progress
from flatscan.sources.depth.camera import camera_from_keys
from flatscan.sources.depth.camera_file import find_camera_file, read_camera_file
from flatscan.sources.depth.depth_capture import DepthCapture, DepthFrame, scan_of
from flatscan.sources.depth.depth_image import depth_header, image_kind
from flatscan.sources.depth.depth_keys import confidence_beside, depth_keys, stated_ray, stated_scale

if TYPE_CHECKING:
    from pathlib import Path

    from flatscan.settings import ReadSettings
    from flatscan.sources.scan import Scan


def is_depth_image(path: Path) -> bool:
    """Whether the first bytes are those of a picture or NPY (JPEG too, which the reader refuses in words)."""
    try:
        return path.is_file() and image_kind(path) != ""
    except InputError:
        return False


def read_single_depth(path: Path, settings: ReadSettings, progress: Progress = SILENT) -> Scan:
    """Read one depth image; its camera file is ``settings.camera_file`` or lies beside it.

    Looked for beside ``NAME.png``: ``NAME.camera.json``, ``NAME_camera.json``, ``NAME.json``,
    ``camera.json``, each also as ``.toml`` and ``.txt`` (see ``camera_file`` for what it holds). A
    confidence image is looked for as ``NAME_confidence.png``.
    """
    header = depth_header(path)
    camera_path = find_camera_file(path.parent, settings, path.stem)
    keys = depth_keys(read_camera_file(camera_path))
    frame = DepthFrame(
        depth_path=path,
        header=header,
        camera=camera_from_keys(keys, camera_path, header.size).scaled_to(header.size, camera_path),
        scan_from_camera=np.eye(4),
        confidence_path=confidence_beside(path),
    )
    return scan_of(
        DepthCapture(
            where=path,
            kind="depth_image",
            frames=(frame,),
            side_files=(camera_path,),
            depth_per_m=stated_scale(keys, camera_path, whole="int" in header.dtype),
            is_ray=stated_ray(keys, camera_path),
        ),
        settings,
        progress,
    )
