"""Tables as files, and files as trials."""

from __future__ import annotations

import io

import pandas as pd

import pwindow as pw
from pwindow.inputs import InputFile
from pwindow.trials import Trial


def read_frame(frame: pd.DataFrame, name: str = "trial.csv") -> Trial:
    """Read a table as if it came as a CSV file."""
    return read_text(frame.to_csv(index=False), name)


def read_text(content: bytes | str, name: str = "trial.csv") -> Trial:
    """Read bytes or text as a trial file."""
    return pw.read_trial(InputFile(name, content if isinstance(content, bytes) else content.encode()))


def as_workbook(frame: pd.DataFrame, **options) -> bytes:
    stream = io.BytesIO()
    frame.to_excel(stream, index=False, **options)
    return stream.getvalue()


def as_sheets(**frames: pd.DataFrame) -> bytes:
    """A workbook with a sheet of each name."""
    stream = io.BytesIO()
    with pd.ExcelWriter(stream) as writer:
        for name, frame in frames.items():
            frame.to_excel(writer, sheet_name=name, index=False)
    return stream.getvalue()


def as_parquet(frame: pd.DataFrame) -> bytes:
    stream = io.BytesIO()
    frame.to_parquet(stream)
    return stream.getvalue()
