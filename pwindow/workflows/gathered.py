"""A trial and the study beside it, from files or from an archive."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from pwindow.inputs import InputFile
from pwindow.study import Study, read_study
from pwindow.trials import Trial, read_trial

if TYPE_CHECKING:  # files are read without what a database needs
    from pwindow.trials.archive import Archive


def gathered(
    files: Sequence[InputFile | Path], archive: Archive | None, study: InputFile | Path | None = None
) -> tuple[Trial, Study]:
    """The trial of files, or of an archive where there are none, and the study beside it.

    Parameters
    ----------
    files : sequence of InputFile or Path
    archive : Archive or None
        Only None where there are files.
    study : InputFile or Path, optional
        What is stated; without it the rolls of the archive as they were last measured.

    Returns
    -------
    Trial
    Study
    """
    if files or archive is None:
        stated = Study() if study is None else read_study(study)
        return read_trial(files, stated), stated
    trial = archive.trial()
    return trial, Study(rolls=archive.rolls(trial.rolls)) if study is None else read_study(study)
