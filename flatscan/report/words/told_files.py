"""Files as outputs speak of them: by their names, never by a path, which tells of a machine and of whose it is."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import PurePath
from typing import TYPE_CHECKING

from flatscan.report.words.plain_text import clean

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.settings import LevelSettings, Settings
    from flatscan.sources.scan import InputFile


def file_name(path: str | PurePath) -> str:
    r"""The last part of a path, safe to print.

    >>> file_name("jobs/17/ours.toml"), file_name("C:\\jobs\\ours.toml"), file_name("din18202-3")
    ('ours.toml', 'ours.toml', 'din18202-3')
    """
    return clean(PurePath(str(path).replace("\\", "/")).name)


def told_names(files: Sequence[InputFile]) -> list[str]:
    """Each file by its name, with its folder's where two share one."""
    counted = Counter(file.path.name for file in files)

    def told(path: PurePath) -> str:
        folder = path.parent.name if counted[path.name] > 1 else ""
        return clean(f"{folder}/{path.name}" if folder else path.name)

    return [told(file.path) for file in files]


def told_settings(settings: Settings) -> Settings:
    """The settings of a run with the files among them by their names."""
    return replace(
        settings,
        read=replace(settings.read, camera_file=_name(settings.read.camera_file)),
        joints=replace(settings.joints, readings_file=_name(settings.joints.readings_file)),
        level=told_level_settings(settings.level),
        limits=tuple(file_name(name) for name in settings.limits),
    )


def told_level_settings(level: LevelSettings) -> LevelSettings:
    """The levelling's settings likewise."""
    return replace(level, product_file=_name(level.product_file), survey_file=_name(level.survey_file))


def _name(path: str | None) -> str | None:
    return None if path is None else file_name(path)
