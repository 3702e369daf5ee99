"""The steps by which the tables of an archive came to be; what a step does never changes again.

A step writes out the tables and columns that it makes: it must do the same in ten years, whatever `schema` says
then. A table that is to look otherwise gets another step.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from sqlalchemy import (
    Column,
    Connection,
    Date,
    DateTime,
    Double,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    inspect,
    text,
)

from pwindow.trials.archive.seals import seal_all

_TABLES = MetaData()


def _id() -> Column:
    return Column("id", Integer, primary_key=True)


def _text(name: str) -> Column:
    return Column(name, Text, nullable=False)


def _when(name: str) -> Column:
    return Column(name, DateTime(timezone=True), nullable=False)


def _file() -> Column:
    return Column("file", ForeignKey("files.checksum"), nullable=False, unique=True)


def _fingerprint() -> Column:
    return Column("fingerprint", String(12), nullable=False, unique=True)


def _of_trial() -> Column:
    return Column("trial", ForeignKey("trials.id"), nullable=False, index=True)


def _rows_of_trial(name: str, *columns: Column) -> Table:
    owner: Column[int] = Column("trial", ForeignKey("trials.id"), primary_key=True)
    return Table(name, _TABLES, owner, Column("at", Integer, primary_key=True), *columns)


def _texts(*names: str) -> list[Column]:
    return [Column(name, Text) for name in names]


def _numbers(*names: str) -> list[Column]:
    return [Column(name, Double) for name in names]


_TRIALS = (
    Table(
        "files",
        _TABLES,
        Column("checksum", String(64), primary_key=True),
        _text("name"),
        Column("content", LargeBinary, nullable=False),
    ),
    Table(
        "trials",
        _TABLES,
        _id(),
        _text("name"),
        _file(),
        _fingerprint(),
        _text("pressure_unit"),
        _text("notes"),
        Column("features", Integer, nullable=False),
        _when("added"),
    ),
    Table("decisions", _TABLES, _id(), _of_trial(), _text("standing"), _text("reason"), _when("made")),
    _rows_of_trial(
        "prints",
        *_texts("print", "make_ready"),
        *_numbers("speed"),
        *_texts("roll"),
        *_numbers("cell_volume", "pressure"),
        *_texts("plate"),
    ),
    _rows_of_trial(
        "cells",
        *_texts("print"),
        *_numbers("plate_width", "direction", "plate_gap"),
        _text("quantity"),
        *_numbers("count", "mean", "squares", "bridged", "unmeasured", "gap_length"),
    ),
    _rows_of_trial(
        "features",
        *_texts("print"),
        *_numbers("direction", "plate_width", "plate_gap", "line_height", "line_width", "section_area"),
        *_numbers("gap", "gap_length", "gaps_inspected", "gaps_bridged", "resistance", "line_length"),
    ),
)
_DECLARATIONS_AND_FITS = (
    Table("declarations", _TABLES, _id(), _text("kind"), _file(), _when("added")),
    Table(
        "roll_volumes",
        _TABLES,
        _id(),
        _text("roll"),
        Column("cell_volume", Double, nullable=False),
        Column("measured", Date, nullable=False),
        _text("note"),
        _when("added"),
    ),
    Table("fits", _TABLES, _id(), _fingerprint(), _text("recipe"), _text("answer"), _when("made")),
)
_COMPARISONS = (
    Table(
        "comparisons",
        _TABLES,
        _id(),
        _of_trial(),
        _text("against"),
        _text("verdict"),
        _text("told"),
        _when("made"),
    ),
)


_SCAN_DECISIONS = (
    Table(
        "scan_decisions",
        _TABLES,
        _id(),
        Column("sha256", String(64), nullable=False, index=True),
        *(_text(name) for name in ("profile", "file", "decision", "reason", "bare_film")),
        _when("made"),
    ),
)
_SCANS = (
    Table(
        "scans",
        _TABLES,
        Column("sha256", String(64), primary_key=True),
        _text("name"),
        Column("size", Integer, nullable=False),
        _when("kept"),
        Column("content", LargeBinary, nullable=False),
    ),
)


def _made(*tables: Table) -> Callable[[Connection], None]:
    return lambda connection: _TABLES.create_all(connection, tables)


def _verdicts(connection: Connection) -> None:
    """Where comparisons say only whether a trial agrees, they say it in words from now on."""
    if "agrees" in _columns(connection, "comparisons"):
        for order in (
            "ALTER TABLE comparisons ADD COLUMN verdict TEXT NOT NULL DEFAULT ''",
            "UPDATE comparisons SET verdict = CASE WHEN agrees THEN 'agrees' ELSE 'does not agree' END",
            "ALTER TABLE comparisons DROP COLUMN agrees",
        ):
            connection.execute(text(order))


def _sheets(connection: Connection) -> None:
    """Trials say which sheet of their workbook they are, where one was named."""
    _add(connection, "trials", "sheet", "TEXT")


def _seals(connection: Connection) -> None:
    """Decisions bear a seal from now on, those of before too; fits say the last decision they stand on."""
    if _add(connection, "decisions", "seal", "VARCHAR(64) NOT NULL DEFAULT ''"):
        seal_all(connection)
    _add(connection, "fits", "decision", "INTEGER")


def _press_order(connection: Connection) -> None:
    """Prints say when, or as which of their trial, they were made."""
    for name in ("order", "time"):
        _add(connection, "prints", name, Double().compile(connection.dialect))


def _foot_rule(connection: Connection) -> None:
    """Prints say where the foot of their lines was taken to be."""
    _add(connection, "prints", "foot_rule", "TEXT")


def _measuring(connection: Connection) -> None:
    """Features bear the standard uncertainties of what was measured, and cells the mean squares of those."""
    number = Double().compile(connection.dialect)
    for name in ("u_line_height", "u_line_width", "u_section_area", "u_gap"):
        _add(connection, "features", name, number)
    _add(connection, "cells", "error", number)


def _raggedness(connection: Connection) -> None:
    """Gaps say how ragged they are along their length, and cells that of their gaps."""
    number = Double().compile(connection.dialect)
    for name in ("gap_raggedness", "gap_correlation"):
        _add(connection, "features", name, number)
    for name in ("raggedness", "correlation"):
        _add(connection, "cells", name, number)


def _plate_features(connection: Connection) -> None:
    """Prints say the plate they were made with, and features what of it they are of."""
    number = Double().compile(connection.dialect)
    _add(connection, "prints", "plate_id", "TEXT")
    _add(connection, "features", "plate_feature", "TEXT")
    for name in ("lip_width", "gap_depth", "corner_radius"):
        _add(connection, "features", name, number)


def _corners(connection: Connection) -> None:
    """Cells tell gaps of other lips and corners apart; features say which corner they are of, and its printed radius."""
    number = Double().compile(connection.dialect)
    _add(connection, "cells", "lip_width", number)
    for table in ("features", "cells"):
        _add(connection, table, "corner", "TEXT")
    _add(connection, "cells", "corner_radius", number)
    _add(connection, "features", "printed_radius", number)


def _ridges(connection: Connection) -> None:
    """Lines say how many ridges they have."""
    _add(connection, "features", "ridges", Double().compile(connection.dialect))


def _add(connection: Connection, table: str, column: str, kind: str) -> bool:
    """Add a column; False where the tables were made with it, by a version whose first steps did that."""
    if column in _columns(connection, table):
        return False
    quoted = connection.dialect.identifier_preparer.quote(column)
    connection.execute(text(f"ALTER TABLE {table} ADD COLUMN {quoted} {kind}"))
    return True


def _columns(connection: Connection, table: str) -> set[str]:
    return {column["name"] for column in inspect(connection).get_columns(table)}


STEPS: Mapping[str, Callable[[Connection], None]] = MappingProxyType(
    {
        "trials": _made(*_TRIALS),
        "declarations and fits": _made(*_DECLARATIONS_AND_FITS),
        "comparisons": _made(*_COMPARISONS),
        "verdicts": _verdicts,
        "sheets": _sheets,
        "seals": _seals,
        "press order": _press_order,
        "foot rule": _foot_rule,
        "scan decisions": _made(*_SCAN_DECISIONS),
        "measuring": _measuring,
        "raggedness": _raggedness,
        "scans": _made(*_SCANS),
        "plate features": _plate_features,
        "corners": _corners,
        "ridges": _ridges,
    }
)
