"""The environment variables by which commands, the server and its pages share what they work on."""

from __future__ import annotations

import os

TRIAL = "PWINDOW_TRIAL"
"""Paths of trials, parted by `os.pathsep`; absent, as the next two, where no file is given."""
PRODUCTS = "PWINDOW_PRODUCTS"
STUDY = "PWINDOW_STUDY"
SHEET = "PWINDOW_SHEET"
"""Sheet to read of a trial that is a workbook."""
SCANS = "PWINDOW_SCANS"
"""Paths of scans, run lists and decisions on scans, or folders of them, parted by `os.pathsep`."""
ARCHIVE = "PWINDOW_ARCHIVE"
"""Address of the archive."""
SHARED = "PWINDOW_SHARED"
"""Folder that the server made for what its pages share."""
FIGURES_SERVED = "PWINDOW_FIGURES_SERVED"
"""Set where pages offer the drawing code as a file at `window.pwFigures`."""
PASSWORD = "PWINDOW_PASSWORD"
"""What visitors are asked for."""


def figures_served() -> bool:
    """Whether the page that this process makes is offered the drawing code as a file."""
    return bool(os.environ.get(FIGURES_SERVED))
