"""An overview of an object, as a line and as HTML."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pwindow.errors import shown

_LONGEST, _NAME = 119, 40  # characters of the line, and of the name in it


@dataclass(frozen=True)
class Overview:
    """What a person needs to know of an object.

    Attributes
    ----------
    kind : str
        What it is.
    name : str
        What it is called, or of; "" where it has no name.
    facts : tuple of str
        For the line, the most telling first: what does not fit is left off.
    rows : mapping of str to str
        For the table: what is told, by what it is.
    """

    kind: str
    name: str
    facts: tuple[str, ...]
    rows: Mapping[str, str]

    @property
    def line(self) -> str:
        """One line of fewer than 120 characters, whatever names and files are called.

        Examples
        --------
        >>> Overview("Trial", "first.csv", ("65 prints in 18 make-readies", "pressure in µm"), {}).line
        '<Trial first.csv: 65 prints in 18 make-readies, pressure in µm>'
        """
        head = f"{self.kind} {_cut(shown(self.name), _NAME)}".rstrip()
        text = f"{head}: {', '.join(map(shown, self.facts))}"
        return f"<{_cut(text, _LONGEST - 2)}>"

    @property
    def html(self) -> str:
        """A name and a small table, in the colours of the page that shows it.

        Examples
        --------
        >>> "&lt;b&gt;" in Overview("Product", "<b>", (), {}).html
        True
        """
        from pwindow.markup import part  # templates are loaded where one is shown

        return str(
            part("pwindow.overview", "overview", "overview", kind=self.kind, name=self.name, rows=self.rows)
        )


class Viewed:
    """An object whose repr is its overview, in a console and in a notebook."""

    def overview(self) -> Overview:
        """What a person needs to know of it; computes nothing that takes time."""
        raise NotImplementedError

    def __repr__(self) -> str:
        return self.overview().line

    def _repr_html_(self) -> str:
        return self.overview().html


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"
