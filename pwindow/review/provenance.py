"""Where a document comes from: fingerprints, versions, and how it is made again."""

from __future__ import annotations

import datetime
import json
import shlex
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace

import pandas as pd

from pwindow.product import Product
from pwindow.review.words import in_full
from pwindow.study import Ink, Roll
from pwindow.surfaces.fingerprint import digest, versions
from pwindow.window.setup import planned_rolls
from pwindow.window.window import Window

_SINCE = ("lip_width", "corner_radius")
"""Sizes of a pattern that came later: fingerprints of products that do not say them stay what they were."""


@dataclass(frozen=True)
class Origin:
    """How a document is made again.

    Attributes
    ----------
    command : str
        "" where no command made it.
    address : str
        Of the page that made it, which holds what was chosen there; "" where none did, and where the page shows
        what one visitor loaded, for which no address lasts.
    loaded : tuple of str
        Names of the files that were loaded on that page.
    """

    command: str = ""
    address: str = ""
    loaded: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Fingerprints:
    """Of the trial's data, of the fit, of product and inventory, and of all with the set-up."""

    trial: str
    fit: str
    product: str
    inventory: str
    document: str

    @property
    def by_name(self) -> dict[str, str]:
        """Each by what it is of."""
        return asdict(self)


@dataclass(frozen=True, kw_only=True)
class Provenance:
    """Where a document comes from.

    Attributes
    ----------
    origin : Origin
    fingerprints : Fingerprints
    versions : mapping of str to str
        Of the program and the libraries it stands on.
    made : date
    fit_options : str
        Options of a command that fits as this fit was made and plans the same rolls; "" where there are none.
    in_full : mapping of str to str
        All that product and study declare, in words.
    """

    origin: Origin
    fingerprints: Fingerprints
    versions: Mapping[str, str]
    made: datetime.date
    fit_options: str
    in_full: Mapping[str, str]


def provenance_of(window: Window, frame: pd.DataFrame, origin: Origin, made: datetime.date) -> Provenance:
    """Where a document about one set-up comes from.

    Parameters
    ----------
    window : Window
    frame : DataFrame
        The set-up as a table of one row.
    origin : Origin
    made : date
    """
    return Provenance(
        origin=origin,
        fingerprints=_fingerprints(window, frame),
        versions=versions(),
        made=made,
        fit_options=_fit_options(window),
        in_full=in_full(window.product, replace(window.study, rolls=window.rolls)),
    )


def _fit_options(window: Window) -> str:
    surfaces = window.surfaces
    options: list[tuple[str, str]] = [("--terms", surfaces.terms)] if surfaces.terms != "all" else []
    options += [("--leave-out", term) for term in surfaces.left_out]
    options += [("--planned-roll", f"{roll.cell_volume:.10g} cm³/m²") for roll in planned_rolls(window.study)]
    return shlex.join(word for option in options for word in option)


def _fingerprints(window: Window, frame: pd.DataFrame) -> Fingerprints:
    parts = {
        "trial": window.surfaces.trial.fingerprint,
        "fit": window.surfaces.fingerprint,
        "product": digest(_product(window.product)),
        "inventory": digest([_plain(window.study.ink), [_plain(roll) for roll in window.rolls]]),
    }
    unsaid = [name for name in _SINCE if name in frame and frame[name].isna().all()]
    return Fingerprints(**parts, document=digest([parts, frame.drop(columns=unsaid).to_dict("records")]))


def _product(product: Product) -> dict:
    """As it was before there were sizes that it does not say."""
    found = _plain(product)
    found["pattern"] = {
        name: size for name, size in found["pattern"].items() if size is not None or name not in _SINCE
    }
    return found


def _plain(declared: Product | Ink | Roll) -> dict:
    """What a user declared, as values that JSON can hold."""
    return json.loads(json.dumps(asdict(declared)))
