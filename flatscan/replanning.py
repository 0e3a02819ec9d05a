"""The levelling planned anew from a result folder: the floor is the one that was measured then."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from flatscan.errors import InputError
from flatscan.levelling import load_product, plan_levelling
from flatscan.levelling.plan import METHOD_NAMES
from flatscan.progress import SILENT, Progress
from flatscan.report.replan import Replan
from flatscan.report.saved_basis import FILE_NAME, load_basis
from flatscan.sources.survey.read_survey import read_survey

if TYPE_CHECKING:
    from flatscan.settings import LevelSettings


def replan(folder: Path | str, settings: LevelSettings, *, seed: int, progress: Progress = SILENT) -> Replan:
    """Plan the levelling of a floor that ``flatscan check`` measured, with other choices.

    Parameters
    ----------
    folder : the result folder; only the floor's file in it is read
    settings : product, survey file, margin and way; without a product or a survey file those of the check hold, and
        the limits always stay those of the result
    seed : of the simulated floors behind the intervals

    Raises
    ------
    flatscan.errors.FlatscanError
        for a folder that is no result, and for files and settings that cannot be used
    """
    folder = Path(folder)
    if not folder.is_dir():
        what = "this is a file" if folder.is_file() else "there is no such folder"
        raise InputError(folder.name, what, "Give the result folder that flatscan check wrote with --out")
    product = None if settings.product_file is None else load_product(settings.product_file)
    survey = None if settings.survey_file is None else read_survey(Path(settings.survey_file))
    basis = load_basis(folder / FILE_NAME)
    # What binds the floor binds it still: a zone that must not be ground is not forgotten.
    product, survey = product or basis.product or load_product(), survey or basis.survey
    # The same floors are drawn as by the check with that seed.
    _, _, level_rng, _, _ = np.random.default_rng(seed).spawn(5)
    plan = plan_levelling(
        basis,
        product,
        rng=level_rng,
        margin_mm=settings.margin_mm,
        survey=survey,
        asked=next((name for name in METHOD_NAMES if name == settings.method), None),
        progress=progress,
    )
    digest = hashlib.sha256((folder / FILE_NAME).read_bytes()).hexdigest()
    return Replan(basis, plan, survey, settings, digest)
