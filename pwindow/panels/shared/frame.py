"""What stands round the content of every page: title, facts, problems, and what the browser is told."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from typing import Any

import ipywidgets as widgets
from markupsafe import Markup

from pwindow.charts.palette import LIGHT, PALETTES, Palette, palette_named
from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.markup import part
from pwindow.panels.shared import words
from pwindow.panels.shared.address import Address
from pwindow.panels.shared.guard import guarded, unforeseen
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.served import served, style
from pwindow.product import Product
from pwindow.surfaces import Surfaces
from pwindow.trials.summary import make_readies
from pwindow.trials.trial import Trial
from pwindow.wording import counted
from pwindow.workflows.evidence import Evidence

_TOLD = 10  # of what an address says and cannot be used that are shown
_part = partial(part, __package__, "frame")


class Frame:
    """The frame of a page.

    Parameters
    ----------
    title : str
    on_palette : callable
        Is told the palette when the visitor, or the visitor's system, asks for other colours.

    Attributes
    ----------
    facts, problem : HTML
        Which trials, fit, product and how fresh, at the end of the page; what failed last.
    guard : callable
        Wraps a handler: what fails in it is told in the page, and what was said before is not any more.
    palette : Palette
        The colours that figures take.
    units : str or None
        What the visitor chose to read numbers in, as of `Address`.
    """

    def __init__(self, title: str, on_palette: Callable[[Palette], None]):
        self.palette = LIGHT
        self.units: str | None = None
        self.facts, self.problem, self._brief, self._notices, self._query = (
            widgets.HTML(layout=full_width()) for _ in range(5)
        )
        self.guard = guarded(self._tell) if served() else guarded(self._tell, self._at_work)
        self._page = widgets.VBox()
        self._busy = False
        self._title = widgets.HTML(_part("title", text=title))
        self._colours = widgets.Text(continuous_update=True)
        recolour = guarded(self._tell_problem)(lambda change: self._recolour(change["new"], on_palette))
        self._colours.observe(recolour, "value")
        self._colours.add_class("pw-colours")
        self._query.add_class("pw-query")
        self._brief.add_class("pw-brief")
        self.problem.add_class("pw-problem-room")

    def button(self, text: str, tooltip: str, act: Callable[[], None]) -> widgets.Button:
        """A button as wide as its place, whose failure is told in the page.

        Parameters
        ----------
        text, tooltip : str
        act : callable
            Takes nothing; called at each click.
        """
        button = widgets.Button(description=text, tooltip=tooltip, layout=full_width())
        button.on_click(self.guard(lambda _button: act()))
        return button

    def take_files(self, upload: widgets.FileUpload, take: Callable[[list[InputFile]], None]) -> None:
        """Hand on the files of each upload, and make room for the next; what fails is told in the page."""
        take = self.guard(take)

        def uploaded(change: Mapping[str, Any]) -> None:
            if change["new"]:
                take([InputFile(item["name"], bytes(item["content"])) for item in change["new"]])
                upload.value = ()

        upload.observe(uploaded, "value")

    def around(self, *content: widgets.Widget) -> widgets.Widget:
        """The page: the content with its frame."""
        head = widgets.HBox(
            [self._title, *([] if served() else [widgets.HTML(_part("at_work"))]), self._brief]
        )
        head.add_class("pw-head")
        parts = [head, self._notices, self.problem, *content, self.facts, widgets.HTML(_part("caution"))]
        self._page.children = [*style(), *parts, self._colours, self._query]
        self._page.add_class("pw-page")
        return self._page

    @contextmanager
    def _at_work(self) -> Iterator[None]:
        """Show that the page is at work, before what takes long: a kernel sends at once, and hears nothing meanwhile."""
        if self._busy:  # one handler sets what another listens to
            yield
            return
        self._busy = True
        self._page.add_class("pw-waiting")
        try:
            yield
        finally:
            self._busy = False
            self._page.remove_class("pw-waiting")

    def open_at(self, address: Address, left_out: Sequence[str]) -> None:
        """Take the colours of an address, and say what of it could not be used."""
        self.palette = palette_named(address.colours)
        self.say(_part("left_out", told=left_out, most=_TOLD) if left_out else "")

    def stand_on(self, evidence: Evidence, product: Product | None = None) -> None:
        """Say what the page stands on: briefly beside its title, in full at its end.

        Parameters
        ----------
        evidence : Evidence
        product : Product, optional
            The one that is judged.
        """
        self.facts.value = evidence_facts(evidence, product)
        self._brief.value = "" if evidence.surfaces is None else _brief(evidence.surfaces)

    def outdated(self) -> None:
        """Say that decisions on trials were made since the page was opened."""
        self._brief.value = _part("outdated")

    def say(self, text: str | Markup) -> None:
        """Say something that is true until the visitor does something else."""
        self._notices.value = text

    def put_address(self, shared: Address, own: str = "") -> None:
        """Have the browser show an address.

        Parameters
        ----------
        shared : Address
            What other pages are given too.
        own : str
            More of the query, for this page alone.
        """
        self._query.value = _part("address", query=replace(shared, units=self.units).query(), own=own)

    def _recolour(self, name: str, on_palette: Callable[[Palette], None]) -> None:
        palette = PALETTES.get(name)
        if palette is not None and palette is not self.palette:
            self.palette = palette
            on_palette(palette)

    def _tell(self, reasons: list[str]) -> None:
        if self._notices.value:
            self.say("")
        self._tell_problem(reasons)

    def _tell_problem(self, reasons: list[str]) -> None:
        value = words.problem_banner(reasons) if reasons else ""
        if self.problem.value != value:
            self.problem.value = value


def heading(text: str) -> widgets.HTML:
    return widgets.HTML(_part("heading", text=text))


def made(title: str, make: Callable[[], widgets.Widget]) -> widgets.Widget:
    """A page, or in its place the reason why it could not be made."""
    try:
        return make()
    except UnusableInput as problem:
        reasons = problem.reasons
    except Exception as problem:  # a page that says so is better than none
        reasons = [unforeseen(problem)]
    return widgets.HTML(_part("title", text=title) + words.problem_banner(reasons, kept=False))


def evidence_facts(evidence: Evidence, product: Product | None = None) -> Markup:
    """Which trials, which fit, which product, and when that was read; without a product as long as there is none."""
    surfaces, read = evidence.surfaces, {"made": evidence.made, "source": evidence.source}
    if surfaces is None:
        return _part("nothing_read", **read)
    return _part(
        "evidence",
        trial=surfaces.trial,
        mounted=_mounted(surfaces.trial),
        bends=surfaces.bends,
        fitted=[surface.kind.label for surface in surfaces.by_name.values()],
        fingerprint=surfaces.fingerprint,
        product=None if product is None else product.name,
        **read,
    )


def _brief(surfaces: Surfaces) -> Markup:
    trial = surfaces.trial
    return _part("brief", trial=trial, mounted=_mounted(trial))


def _mounted(trial: Trial) -> str:
    readies = make_readies(trial)
    if readies is None:
        return "make-readies not recorded"
    return f"in {counted(readies, 'make-ready', 'make-readies')}"
