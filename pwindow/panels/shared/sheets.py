"""The choice of a sheet, where a workbook has several that could be the trial."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import ipywidgets as widgets

from pwindow.errors import SeveralSheets
from pwindow.inputs import InputFile
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.words import several_sheets


class SheetChoice:
    """Sheets to choose from, shown as long as a workbook waits for the choice.

    Parameters
    ----------
    guard : callable
        Wraps handlers.
    go_on : callable
        Is given the files, the workbook with its sheet.

    Attributes
    ----------
    box : VBox
    """

    def __init__(self, guard: Callable, go_on: Callable[[list[InputFile]], None]):
        self._go_on, self._book = go_on, ""
        self._files: list[InputFile] = []
        self._told = widgets.HTML(layout=full_width())
        self.sheet = widgets.Dropdown(
            description="Sheet", style={"description_width": "60px"}, layout=full_width()
        )
        self.read = widgets.Button(
            description="Read this sheet", tooltip="Read the trial from the chosen sheet", layout=full_width()
        )
        self.read.on_click(guard(lambda _button: self._chosen()))
        self.box = widgets.VBox([self._told, self.sheet, self.read], layout=widgets.Layout(width="100%"))
        self.close()

    def offer(self, files: Sequence[InputFile], problem: SeveralSheets) -> None:
        """Offer the sheets of a workbook among files."""
        self._files, self._book = list(files), problem.file
        self._told.value = several_sheets(problem.file)
        self.sheet.options = list(problem.sheets)
        self.sheet.value = problem.sheets[0]
        self.box.layout.display = None

    def _chosen(self) -> None:
        files = [
            replace(file, sheet=self.sheet.value) if file.name == self._book else file for file in self._files
        ]
        self._go_on(files)

    def close(self) -> None:
        """Nothing is to be chosen."""
        self._files, self.box.layout.display = [], "none"
