"""The command that says what a part asks of its print, before there is a trial."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pwindow.cli.guarded import guarded, reply
from pwindow.cli.sources import STUDY

if TYPE_CHECKING:  # loaded by the command
    from pwindow.product import Product
    from pwindow.window.requirements.asked import Asked


@click.command()
@click.argument("product", type=click.Path(path_type=Path))
@STUDY
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output.")
@guarded
def part(*, product: Path, study: Path | None, as_json: bool) -> None:
    """What a part's purpose asks of the sheet, the mesh, the line and the gap, without any trial."""
    from pwindow.product import read_product
    from pwindow.study import read_study
    from pwindow.window.requirements.asked import what_is_asked

    wanted = read_product(product)
    resistivity = None if study is None else read_study(study).ink.resistivity
    reply(_answer(wanted, what_is_asked(wanted, resistivity)), _text, as_json=as_json)


def _answer(product: Product, asked: Asked) -> dict:
    return {
        "product": product.name,
        **{ask.key: ask.value for ask in asked.asks},
        "chain": [
            {
                "link": ask.link,
                "label": ask.label,
                "bound": ask.bound,
                "value": ask.value,
                "unit": ask.unit,
                "requirement": ask.requirement,
                "approximation": ask.approximation or None,
            }
            for ask in asked.asks
        ],
        "notes": list(asked.notes),
    }


def _text(answer: dict) -> str:
    from pwindow.product import REQUIREMENT_KINDS
    from pwindow.wording import METRIC

    lines = [f"{answer['product']}: what the part asks of its print"]
    for ask in answer["chain"]:
        limit = f"{ask['label']} at {ask['bound']} {METRIC.of(ask['unit']).limit(ask['value'])}"
        asking = REQUIREMENT_KINDS[ask["requirement"]].label
        why = "" if asking == ask["label"] else f", for the {asking}"
        lines.append(f"  {ask['link']:<5}  {limit}{why}")
        if ask["approximation"]:
            lines.append(f"         {ask['approximation']}")
    return "\n".join([*lines, *answer["notes"]])
