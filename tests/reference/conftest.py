"""Where reference files lie that are not part of the project."""

import os
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def fetched() -> Path:
    """Folder of reference files that are not part of the project."""
    folder = os.environ.get("PWINDOW_REFERENCE_DIR")
    if not folder:
        pytest.skip("PWINDOW_REFERENCE_DIR does not name a folder of reference data")
    return Path(folder) / "fetched"
