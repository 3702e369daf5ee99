"""Where the files that ship with the project lie: the demo data and the dashboards."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from pwindow.errors import expect

try:
    __version__ = version("pwindow")
except PackageNotFoundError:  # run from a checkout that was not installed
    __version__ = "not installed"

_PACKAGE = Path(__file__).resolve().parent


def shipped(folder: str) -> Path:
    """A folder that ships beside the package in a checkout, and inside it in a wheel."""
    inside, beside = _PACKAGE / "_shipped" / folder, _PACKAGE.parent / folder
    return inside if inside.is_dir() else beside


def demo(name: str) -> Path:
    """Path of a file of the demo data, such as ``"trial_first.csv"``."""
    expect("demo", name, str, 'the name of a file of the demo data, such as "trial_first.csv"')
    return shipped("data_demo") / name
