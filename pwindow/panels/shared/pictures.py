"""Figures in widgets: as wide as their place, in the colours of the page, quick to open."""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets
import plotly.graph_objects as go
from markupsafe import Markup
from plotly.callbacks import Points

from pwindow.charts.palette import LIGHT, Palette
from pwindow.panels.shared.served import served
from pwindow.panels.shared.words import saves

_SAVING = 46  # px for what saves a picture

_FROM_PAGE = """
const { default: figure, FigureView } = await import(new URL(window.pwFigures, window.location.href).href);
// After every repaint a figure would send back what it drew, 1.4 MB of a map; nothing here reads it.
FigureView.prototype._sendTraceDeltas = () => {};
FigureView.prototype._sendLayoutDelta = () => {};
const attached = (el) => new Promise((resolve) => {
  const watching = new ResizeObserver(() => {
    if (!el.clientWidth) return;
    watching.disconnect();
    resolve();
  });
  watching.observe(el);
});
export default async () => {
  const one = typeof figure === "function" ? await figure() : figure;
  return {
    ...one,
    async render(given) { // once its place has a size, so that the figure takes it
      await attached(given.el);
      const layout = given.model.get("_widget_layout");
      layout.height ||= given.el.clientHeight;
      return one.render(given);
    },
  };
};
"""


class _Drawn(go.FigureWidget):
    """A figure whose drawing code the browser fetches once and keeps, instead of 4.9 MB with every figure."""

    _esm = _FROM_PAGE


def in_widget(figure: go.Figure) -> go.FigureWidget:
    """Put a figure in a widget that is as wide as its place.

    Examples
    --------
    >>> in_widget(go.Figure())._config["responsive"]
    True
    """
    kind = _Drawn if served() else go.FigureWidget
    drawn = kind(figure)
    drawn._config = {
        "displaylogo": False,
        "responsive": True,
        "displayModeBar": False if served() else "hover",
    }
    drawn.layout.autosize = True
    return drawn


class Place(widgets.VBox):
    """Where a figure stands, with what saves it below; it is drawn again when the page's colours change.

    Parameters
    ----------
    palette : Palette
    height : int, optional
        Height of the figure in px, for which room is kept while there is none.
    name : str
        Of the files that the picture is saved in, without ending.
    clicked : callable, optional
        Is told where in the figure the visitor clicks, in the units of its axes.

    Attributes
    ----------
    saves : HTML
        What saves the picture, and more that is said beside it.
    """

    def __init__(
        self,
        palette: Palette = LIGHT,
        height: int | None = None,
        name: str = "picture",
        clicked: Callable[[float, float], None] | None = None,
    ):
        room = {} if height is None else {"min_height": f"{height + _SAVING}px"}
        super().__init__(layout=widgets.Layout(width="100%", **room))
        self.add_class("pw-figure")
        self._palette, self._name, self._clicked = palette, name, clicked
        self._draw: Callable[[Palette], go.Figure] | None = None
        self.saves = widgets.HTML(layout=widgets.Layout(width="100%"))
        self.beside("")
        self.colour(palette)

    @property
    def figure(self) -> go.FigureWidget | None:
        return self.children[0] if self.children else None

    def beside(self, more: str | Markup) -> None:
        """Say more beside what saves the picture."""
        self.saves.value = saves(self._name, more)

    def show(self, draw: Callable[[Palette], go.Figure] | None) -> None:
        """Draw a figure in place of the one before; with None there is none."""
        before, self._draw = self.figure, draw
        self.children = [] if draw is None else [self._drawn(draw), self.saves]
        if before is not None:
            before.close()

    def _drawn(self, draw: Callable[[Palette], go.Figure]) -> go.FigureWidget:
        figure = in_widget(draw(self._palette))
        if self._clicked is not None:
            for trace in figure.data:
                trace.on_click(self._tell_click)
        return figure

    def _tell_click(self, _trace: object, points: Points, _state: object) -> None:
        if self._clicked is not None and points.point_inds:  # every trace is told of clicks on any
            self._clicked(points.xs[0], points.ys[0])

    def colour(self, palette: Palette) -> None:
        """Take other colours."""
        if palette is not self._palette and self._draw is not None:
            self._palette = palette
            self.show(self._draw)
        self._palette = palette
        for name in ("light", "dark"):
            (self.add_class if name == palette.name else self.remove_class)(f"pw-{name}")
