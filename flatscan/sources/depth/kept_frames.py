"""The frames a scan keeps, so that later stages can go back to the pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.constants import MM_PER_M
from flatscan.sources.scan import PosedFrame

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.sources.depth.depth_capture import DepthCapture, DepthFrame, LonePhoto


def kept_frames(capture: DepthCapture) -> tuple[PosedFrame, ...]:
    """The depth frames in their order, then the photos without depth."""
    return (*(_posed(frame) for frame in capture.frames), *(_posed_photo(photo) for photo in capture.photos))


def _in_mm(pose: NDArray[np.float64]) -> NDArray[np.float64]:
    pose_mm = pose.copy()
    pose_mm[:3, 3] *= MM_PER_M
    return pose_mm


def _posed(frame: DepthFrame) -> PosedFrame:
    colour = frame.colour_camera
    return PosedFrame(
        depth_path=frame.depth_path,
        colour_path=frame.colour_path,
        scan_from_camera=_in_mm(frame.scan_from_camera),
        depth_camera=frame.camera.intrinsics,
        depth_size=(frame.camera.width, frame.camera.height),
        colour_camera=None if colour is None else colour.intrinsics,
        colour_size=None if colour is None else (colour.width, colour.height),
        distortion=(colour or frame.camera).lens,
        scan_from_photo=None if frame.scan_from_photo is None else _in_mm(frame.scan_from_photo),
    )


def _posed_photo(photo: LonePhoto) -> PosedFrame:
    camera, size = photo.camera, (photo.camera.width, photo.camera.height)
    return PosedFrame(
        depth_path=None,
        colour_path=photo.path,
        scan_from_camera=_in_mm(photo.scan_from_camera),
        depth_camera=camera.intrinsics,
        depth_size=size,
        colour_camera=camera.intrinsics,
        colour_size=size,
        distortion=camera.lens,
    )
