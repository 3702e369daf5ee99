"""A Parquet file to a table of raw cells."""

from __future__ import annotations

import io
import re
from typing import Any

import pandas as pd

from pwindow.errors import TrialProblem
from pwindow.inputs import InputFile
from pwindow.trials.bounds import MOST_TEXT, check_size, too_large, unreadable

_UNNAMED_INDEX = re.compile(r"__index_level_\d+__")
_MOST_UNPACKED = 2_000_000_000  # bytes in all: 64 for each cell of the largest table


def read_parquet(file: InputFile) -> pd.DataFrame:
    """Read the cells of a Parquet file; what pandas notes in it about its index is ignored.

    Raises
    ------
    TrialProblem
        If it is no Parquet file, or declares more cells than a trial can have.
    """
    import pyarrow.parquet

    try:
        source = pyarrow.parquet.ParquetFile(io.BytesIO(file.content))
        _check_declared(source.metadata, file)
        # repeated texts stay one text each, however often a row refers to them
        texts = [one.path for one in source.schema if one.physical_type == "BYTE_ARRAY"]
        source = pyarrow.parquet.ParquetFile(io.BytesIO(file.content), read_dictionary=texts)
        table = source.read().replace_schema_metadata(None)
        table.validate(full=True)
        _check_text(table, file)
        cells = table.to_pandas(ignore_metadata=True, integer_object_nulls=True, timestamp_as_object=True)
    except TrialProblem:
        raise
    except Exception as problem:  # a damaged file raises whatever its decoders stumble over
        raise unreadable(file, f"not a Parquet file ({_reason(problem)})") from problem
    cells = cells.loc[:, [not _UNNAMED_INDEX.fullmatch(str(name)) for name in cells.columns]]
    return cells.set_axis(pd.RangeIndex(2, len(cells) + 2))


def _reason(problem: Exception) -> str:
    return (str(problem).splitlines() or [type(problem).__name__])[0][:200]


def _check_declared(metadata: Any, file: InputFile) -> None:
    """Look at the sizes that the file declares: of the table, and of lists inside its cells."""
    check_size(file, metadata.num_rows, metadata.num_columns)
    groups = [metadata.row_group(at) for at in range(metadata.num_row_groups)]
    chunks = [group.column(at) for group in groups for at in range(metadata.num_columns)]
    check_size(file, sum(chunk.num_values for chunk in chunks), 1)
    unpacked = sum(chunk.total_uncompressed_size for chunk in chunks)
    if unpacked > _MOST_UNPACKED:
        raise too_large(
            file, f"it unpacks to {unpacked / 1e6:.0f} MB, more than {_MOST_UNPACKED / 1e6:.0f} MB"
        )


def _check_text(table: Any, file: InputFile) -> None:
    """Look at how long the texts become when each row has its own."""
    import pyarrow
    from pyarrow import compute

    letters = 0
    for column in table.columns:
        for chunk in column.chunks if pyarrow.types.is_dictionary(column.type) else ():
            letters += compute.sum(compute.binary_length(chunk.dictionary).take(chunk.indices)).as_py() or 0
    if letters > MOST_TEXT:
        raise too_large(file, f"{letters} characters in its cells, more than {MOST_TEXT}")
