"""Tables of the archive, as the last of the `steps` leaves them; a test holds one against the other."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sqlalchemy import (
    Column,
    Date,
    Double,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
)

from pwindow.trials.archive.moments import Moment
from pwindow.trials.columns import COLUMNS, FEATURE_COLUMNS, PRINT_COLUMNS
from pwindow.trials.reduction import CELL_KEYS, STATISTICS

METADATA = MetaData()


def _id() -> Column:
    return Column("id", Integer, primary_key=True)


def _when(name: str) -> Column:
    return Column(name, Moment, nullable=False)


def _text(name: str, **options: Any) -> Column:
    return Column(name, Text, nullable=False, **options)


def _rows_of_trial(name: str, *columns: Column) -> Table:
    """Rows that belong to a trial, in their order."""
    owner: Column[int] = Column("trial", ForeignKey("trials.id"), primary_key=True)
    return Table(name, METADATA, owner, Column("at", Integer, primary_key=True), *columns)


def _typed(names: Iterable[str]) -> list[Column]:
    return [Column(name, Text if COLUMNS[name].kind == "text" else Double) for name in names]


FILES = Table(
    "files",
    METADATA,
    Column("checksum", String(64), primary_key=True),
    _text("name"),
    Column("content", LargeBinary, nullable=False),
)
TRIALS = Table(
    "trials",
    METADATA,
    _id(),
    _text("name"),
    Column("file", ForeignKey("files.checksum"), nullable=False, unique=True),
    Column("fingerprint", String(12), nullable=False, unique=True),
    Column("sheet", Text),
    _text("pressure_unit"),
    _text("notes"),
    Column("features", Integer, nullable=False),
    _when("added"),
)
DECISIONS = Table(
    "decisions",
    METADATA,
    _id(),
    Column("trial", ForeignKey("trials.id"), nullable=False, index=True),
    _text("standing"),
    _text("reason"),
    _when("made"),
    Column("seal", String(64), nullable=False),
)
COMPARISONS = Table(
    "comparisons",
    METADATA,
    _id(),
    Column("trial", ForeignKey("trials.id"), nullable=False, index=True),
    _text("against"),
    _text("verdict"),
    _text("told"),
    _when("made"),
)
PRINTS = _rows_of_trial("prints", *_typed(PRINT_COLUMNS))
CELLS = _rows_of_trial(
    "cells",
    *_typed(CELL_KEYS),
    _text("quantity"),
    *(Column(name, Double) for name in STATISTICS),
)
FEATURES = _rows_of_trial("features", *_typed(["print", *FEATURE_COLUMNS]))
DECLARATIONS = Table(
    "declarations",
    METADATA,
    _id(),
    _text("kind"),
    Column("file", ForeignKey("files.checksum"), nullable=False, unique=True),
    _when("added"),
)
VOLUMES = Table(
    "roll_volumes",
    METADATA,
    _id(),
    _text("roll"),
    Column("cell_volume", Double, nullable=False),
    Column("measured", Date, nullable=False),
    _text("note"),
    _when("added"),
)
FITS = Table(
    "fits",
    METADATA,
    _id(),
    Column("fingerprint", String(12), nullable=False, unique=True),
    _text("recipe"),
    _text("answer"),
    _when("made"),
    Column("decision", Integer),
)
SCAN_DECISIONS = Table(
    "scan_decisions",
    METADATA,
    _id(),
    Column("sha256", String(64), nullable=False, index=True),
    *(_text(name) for name in ("profile", "file", "decision", "reason", "bare_film")),
    _when("made"),
)
SCANS = Table(
    "scans",
    METADATA,
    Column("sha256", String(64), primary_key=True),
    _text("name"),
    Column("size", Integer, nullable=False),
    _when("kept"),
    Column("content", LargeBinary, nullable=False),
)
