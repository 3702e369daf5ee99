"""The button that loads a visitor's own files, with the choice of a sheet where a workbook has several."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import ipywidgets as widgets

from pwindow.errors import SeveralSheets
from pwindow.inputs import InputFile
from pwindow.panels.shared import words
from pwindow.panels.shared.frame import Frame, heading
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.sheets import SheetChoice
from pwindow.workflows.evidence import Evidence


class FileLoading:
    """Load files.

    Parameters
    ----------
    frame : Frame
    take : callable
        Is given the files that were loaded; raises SeveralSheets where a sheet is to be chosen first.
    files : str
        What can be loaded, on the button.
    tooltip : str

    Attributes
    ----------
    box : list of Widget
        What to display.
    busy : HTML
        What is being done.
    """

    def __init__(self, frame: Frame, take: Callable[[Sequence[InputFile]], None], files: str, tooltip: str):
        self._take = take
        self.upload = widgets.FileUpload(
            description=f"Load {files}…",
            multiple=True,
            accept=".csv,.txt,.tsv,.xlsx,.parquet,.toml",
            layout=full_width(),
            tooltip=tooltip,
        )
        frame.take_files(self.upload, self.load)
        self.sheets = SheetChoice(frame.guard, self.load)
        self.busy = widgets.HTML()
        self.box = [heading("Your own data"), self.upload, self.busy, self.sheets.box]

    def load(self, files: Sequence[InputFile]) -> None:
        """Hand on files, or have a sheet chosen first."""
        self.sheets.close()
        self.busy.value = words.working("reading and fitting")
        try:
            self._take(files)
        except SeveralSheets as problem:
            self.sheets.offer(files, problem)
        finally:
            self.busy.value = ""


def replaces(before: Evidence, after: Evidence) -> bool:
    """Whether another trial is shown than before."""
    if before.surfaces is None or after.surfaces is None:
        return False
    return before.surfaces.trial.fingerprint != after.surfaces.trial.fingerprint
