"""The set-up speed page on objects of one's own, as a cell of a notebook."""

from __future__ import annotations

import ipywidgets as widgets

from pwindow.errors import expect
from pwindow.panels.set_up_speed.page import SetUpSpeed
from pwindow.product import Product
from pwindow.study import Study
from pwindow.surfaces import Surfaces, fit
from pwindow.trials import Trial
from pwindow.workflows.evidence import Evidence, window_of


def dashboard(trial: Trial | Surfaces, product: Product, study: Study | None = None) -> widgets.Widget:
    """The page that chooses a set-up, to show as the last value of a cell.

    Parameters
    ----------
    trial : Trial or Surfaces
        A trial is fitted first; surfaces are taken as they were fitted.
    product : Product
    study : Study, optional
        Rolls and make-readies; the rolls of the trial unless given.

    Returns
    -------
    Widget

    Raises
    ------
    UnusableInput
        If the trial cannot be fitted, or cannot judge the product.

    Examples
    --------
    >>> import pwindow as pw
    >>> trial, product = pw.read_trial(pw.demo("trial_first.csv")), pw.read_product(pw.demo("tag.toml"))
    >>> page = pw.dashboard(trial, product)
    """
    expect(
        "dashboard",
        trial,
        (Trial, Surfaces),
        "a Trial, as read_trial returns it, or Surfaces, as fit returns them",
    )
    expect("dashboard", product, Product, "a Product, as read_product returns it")
    declared = Study() if study is None else study
    expect("dashboard", declared, Study, "a Study, as read_study returns it")
    surfaces = trial if isinstance(trial, Surfaces) else fit(trial, make_readies=declared.make_readies)
    evidence = Evidence(
        surfaces=surfaces, study=declared, products={product.name: product}, source="this notebook"
    )
    window_of(evidence, product)
    return SetUpSpeed(evidence).widget
