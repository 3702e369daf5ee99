"""What more than one page says, as HTML; every name that comes from a file is escaped here."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from html import escape

from pwindow.workflows.evidence import Evidence

_NOTES = 5  # of a trial that are shown before the others are folded away


def working(what: str) -> str:
    """What is being done."""
    return f"<p role='status' class='pw-busy'><span class='pw-ring' aria-hidden='true'></span> {escape(what)} …</p>"


def together(text: str) -> str:
    """A sentence whose lines do not break between a number and its per cent sign."""
    return text.replace(" %", "\u00a0%")


def waiting_card(evidence: Evidence, why: Sequence[str], data: str | None, here: bool) -> str:
    """What is missing before there is an answer, and what to do.

    Parameters
    ----------
    evidence : Evidence
    why : sequence of str
        As of `NothingToJudge`.
    data : str or None
        Id of what the visitor loaded.
    here : bool
        Whether files are loaded on this very page.
    """
    where = "at the left" if here else f"on the page {_page('set-up-speed', 'Set-up speed', data)}"
    if evidence.surfaces is None:
        return _no_trial(evidence, where, data)
    trial = evidence.surfaces.trial
    reasons = "".join(f"<li>{escape(reason)}</li>" for reason in why)
    listed = f"It can judge none of the products here:<ul>{reasons}</ul>" if why else ""
    return (
        "<section class='pw-answer'><div class='pw-big'>Load a product</div>"
        f"<div><b>{escape(', '.join(trial.files))}</b> was read and fitted: {len(trial.prints)} prints, pressures in "
        f"{escape(trial.pressure_unit)}. {listed}What the part must do is stated in a product file (TOML): load one "
        f"{where}.</div></section>{trial_notes(evidence)}"
    )


def _no_trial(evidence: Evidence, where: str, data: str | None) -> str:
    kept = "".join(f"<li>{escape(name)}</li>" for name in evidence.products)
    products = f"<br>Products that wait for it:<ul>{kept}</ul>" if kept else ""
    return (
        "<section class='pw-answer'><div class='pw-big'>No trial yet</div>"
        "<div>The archive of this server has no trial that fits use. Add one, or decide about those it has, on the page "
        f"{_page('new-trial-data', 'New trial data', data)} or by <code>pwindow add</code>. To look at a trial without "
        f"keeping it in the archive, load its file {where}.{products}</div></section>"
    )


def _page(name: str, title: str, data: str | None) -> str:
    """A link to another page that keeps what the visitor loaded."""
    query = f"?data={data}" if data else ""
    return f"<a href='{name}.ipynb{escape(query)}'>{title}</a>"


def trial_notes(evidence: Evidence) -> str:
    """What was noticed when the trial was read, such as which sheet of a workbook; nothing where nothing was."""
    notes = () if evidence.surfaces is None else evidence.surfaces.trial.notes
    if not notes:
        return ""
    items = [f"<li>{escape(note)}</li>" for note in dict.fromkeys(notes)]
    first, rest = "".join(items[:_NOTES]), "".join(items[_NOTES:])
    more = f"<details class='pw-more'><summary>{len(items) - _NOTES} more</summary><ul>{rest}</ul></details>"
    return (
        f"<p class='pw-note'>On reading the trial:</p><ul class='pw-findings'>{first}</ul>{more * bool(rest)}"
    )


def table(names: Iterable[str], rows: Iterable[Sequence[object]]) -> str:
    """A table of texts, which are escaped; a line break in one is kept."""
    head = "".join(f"<th scope='col'>{escape(name)}</th>" for name in names)
    body = "".join(
        f"<tr><th scope='row'>{_lines(first)}</th>{''.join(cell(_lines(text)) for text in rest)}</tr>"
        for first, *rest in rows
    )
    return f"<div class='pw-wide'><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"


def _lines(text: object) -> str:
    return escape(str(text)).replace("\n", "<br>")


def cell(text: str) -> str:
    return f"<td>{text}</td>"


def link(text: str, name: str, content: str, kind: str = "text/csv") -> str:
    """A link that saves a file.

    Parameters
    ----------
    text : str
        Of the link; HTML.
    name : str
        Of the file.
    content : str
        Of the file.
    kind : str, default 'text/csv'
        Media type.
    """
    data = base64.b64encode(content.encode()).decode()
    return f"<a download='{name}' href='data:{kind};base64,{data}'>{text}</a>"


def problem_banner(reasons: list[str], kept: bool = True) -> str:
    """What failed and what to do; the first ten of many."""
    shown = "".join(f"<li>{escape(reason)}</li>" for reason in reasons[:10])
    more = f"<li>… and {len(reasons) - 10} more of the kind</li>" if len(reasons) > 10 else ""
    note = "<p>The page still shows what it showed before.</p>" if kept else ""
    return f"<div class='pw-problem' role='alert'><ul>{shown}{more}</ul>{note}</div>"


CAUTION = (
    "<p class='pw-caution'>Probabilities hold for the process as it was in the trial. The press's own limits, safety "
    "data sheets, site rules and licensed practice prevail; run nothing outside what was tried.</p>"
)
