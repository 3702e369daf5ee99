"""The command that says how much of what is measured is the measuring."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pwindow.cli.guarded import guarded, reply
from pwindow.errors import UnitProblem, UnusableInput

if TYPE_CHECKING:  # loaded by the command
    import pandas as pd

    from pwindow.metrology.gauge import Components, GaugeStudy


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output.")
@guarded
def gauge(*, file: Path, as_json: bool) -> None:
    """Read a gauge study (columns part, operator, repeat, value) and report the measuring error."""
    from pwindow.metrology.gauge import gauge_study
    from pwindow.outputs import plain

    table, unit = _read(file)
    reply(plain(_answer(gauge_study(table), unit)), _text, as_json=as_json)


def _read(file: Path) -> tuple[pd.DataFrame, str]:
    """The table, values as numbers, and their unit."""
    import pandas as pd

    from pwindow.inputs import InputFile
    from pwindow.metrology.gauge import COLUMNS
    from pwindow.trials.files import read_cells
    from pwindow.units import split_header

    cells, _ = read_cells(InputFile.of(file))
    units = {}
    for name in cells:
        try:
            units[name] = split_header(str(name))
        except UnitProblem as problem:
            raise UnusableInput(f"{file.name}: column “{name}”: {problem}") from problem
    known = {name: own.lower() for name, (own, _) in units.items() if own.lower() in COLUMNS}
    table = cells[list(known)].rename(columns=known)
    if "value" in table:
        texts = table["value"].astype(str).str.strip()
        numbers = pd.to_numeric(texts.str.replace(",", ".", regex=False), errors="coerce")
        wrong = numbers.isna() & table["value"].notna() & (texts != "")
        wrong |= texts.str.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}")  # a thousand, or a decimal comma
        if wrong.any():
            row, cell = wrong.idxmax(), table["value"][wrong].iloc[0]
            raise UnusableInput(
                f"{file.name}, row {row}, column value: “{cell}” is not a number, or could be two; write it with a decimal point, or clear it"
            )
        table = table.assign(value=numbers)
    unit = next((one or "" for own, one in units.values() if own.lower() == "value"), "")
    return table, unit


def _answer(found: GaugeStudy, unit: str) -> dict:
    low, high = found.interval()
    return {
        "parts": found.parts,
        "operators": found.operators,
        "repeats": found.repeats,
        "unit": unit,
        "anova": None if found.anova is None else found.anova.to_dict("index"),
        "components": _variances(found.components),
        "reduced": _variances(found.reduced),
        "likelihood": _variances(found.likelihood),
        "measuring_error": found.error,
        "repeatability_interval": {"low": low, "high": high, "level": 0.95},
        "share_of_all": found.share,
        "categories": found.categories,
    }


def _variances(found: Components | None) -> dict | None:
    return None if found is None else vars(found)


def _text(answer: Mapping) -> str:
    """The variances as standard deviations, and what they mean."""
    import math

    import pandas as pd

    from pwindow.wording import amount, counted

    unit = f" {answer['unit']}" if answer["unit"] else ""
    names = {
        "repeatability": "repeatability",
        "operator": "between operators",
        "interaction": "operators with parts",
        "part": "between parts",
    }
    ways = {
        "components": "mean squares",
        "reduced": "interaction pooled",
        "likelihood": "likelihood",
    }
    rows = {
        words: {
            title: "–" if answer[way][name] is None else amount(math.sqrt(max(answer[way][name], 0.0)))
            for way, title in ways.items()
            if answer[way] is not None
        }
        for name, words in names.items()
    }
    of = ", ".join(
        [
            counted(answer["parts"], "part", "parts"),
            counted(answer["operators"], "operator", "operators"),
            counted(answer["repeats"], "repeat", "repeats"),
        ]
    )
    return "\n".join(
        [
            f"measuring error: {amount(answer['measuring_error'])}{unit} (standard deviation), "
            f"{100 * answer['share_of_all']:.0f} % of that of all values",
            "a fit leaves it in: what varies between the features of a print is the ink and the measuring together",
            f"distinguishes {counted(answer['categories'], 'group', 'groups')} of parts; {of}",
            "",
            f"standard deviations{',' * bool(unit)}{unit}",
            pd.DataFrame.from_dict(rows, orient="index").to_string(),
        ]
    )
