"""Every dashboard notebook is short, has no stored output, and runs."""

import nbformat
import pytest
from nbclient import NotebookClient

from pwindow.shipped import shipped

NOTEBOOKS = sorted(shipped("dashboards").glob("*.ipynb"))


def test_there_are_notebooks():
    assert NOTEBOOKS


@pytest.mark.slow
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook(path):
    notebook = nbformat.read(path, as_version=4)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert sum(len(cell.source.splitlines()) for cell in code) < 25
    assert not any(cell.outputs for cell in code)
    NotebookClient(notebook, timeout=120).execute()
    views = [
        output
        for cell in code
        for output in cell.outputs
        if "application/vnd.jupyter.widget-view+json" in output.get("data", {})
    ]
    assert len(views) == 1
