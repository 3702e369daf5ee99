"""Topographies from files: X3P (ISO 25178-72), the text grid of ISO 25178-71, and CSV grids."""

from __future__ import annotations

import hashlib
import io
import re
import zipfile
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from pwindow.errors import UnitProblem, UnusableInput, shown
from pwindow.inputs import InputFile
from pwindow.metrology.topography import Topography
from pwindow.metrology.unseen import seen_alone
from pwindow.trials.files import decode
from pwindow.units import read_quantity

_METRE = 1e6  # µm
_NAMESPACE = "http://www.opengps.eu/2008/ISO5436_2"
_ROOT = re.compile(rb"<(/?)(\w+:)?ISO5436(_2)?\b([^>]*)>")
_HIGHEST, _WIDEST = 2_000.0, 100.0
"""Heights over a map, and distances of its points, beyond which a unit is wrong, µm: a plate's relief is below 1 mm
(common practice, no source)."""
_FEWEST = 20


def read_topography(source: str | Path | InputFile, scale: float | None = None) -> Topography:
    """The topography of a file, by its kind.

    Parameters
    ----------
    source : str, Path or InputFile
        ``.x3p``, ``.sdf`` (text), or a CSV grid: rows of heights below fields ``step_x: 0.5 µm``, ``step_y: 0.5 µm`` and
        ``heights: nm``.
    scale : float, optional
        Metres of the file's unit of length, where it has another than the metre or none.

    Raises
    ------
    UnusableInput
        If it cannot be read, or its numbers are impossible.
    """
    file = InputFile.of(source)
    suffix = Path(file.name).suffix.lower()
    if suffix == ".x3p" or file.content[:4] == b"PK\x03\x04":
        found = _x3p(file, scale or 1.0)
    elif file.content[:4].lower() in (b"aiso", b"abcr"):
        found = _iso_text(file, scale or 1.0)
    else:
        found = _csv_grid(file)
    _refuse_implausible(found)
    return found


def _x3p(file: InputFile, scale: float) -> Topography:
    """Strictly; else with what can be forgiven, which is listed."""
    import x3pio

    notes: list[str] = []
    try:
        found: Any = x3pio.read(io.BytesIO(file.content))
    except (x3pio.X3pError, zipfile.BadZipFile) as problem:
        found = _forgiven(file, problem, notes)
    if not isinstance(found, x3pio.Surface):
        raise UnusableInput(
            f"{file.name}: holds a {type(found).__name__.lower()}, and a topography is needed"
        )
    if not found.is_regular_grid:
        raise UnusableInput(f"{file.name}: its points are on no regular grid; export it on one")
    if len(found.layers) > 1:
        notes.append(f"the first of {len(found.layers)} layers is read")
    header = found.header
    steps = [float(axis.increment or 0.0) for axis in (header.x, header.y)]
    if min(steps) <= 0.0:
        raise UnusableInput(f"{file.name}: says no distance of its points (increment); export it with one")
    if scale == 1.0 and steps == [1.0, 1.0]:
        raise UnusableInput(
            f"{file.name}: its points are 1 apart without a unit; say how many metres that is (--scale 1e-6 for µm)"
        )
    return _topography(
        file,
        np.asarray(found.layers[0].z, float),
        scale * _METRE,
        (steps[0] * scale * _METRE, steps[1] * scale * _METRE),
        tuple(notes),
    )


def _forgiven(file: InputFile, problem: Exception, notes: list[str]) -> Any:
    """A file that breaks the standard in a way that leaves its numbers certain."""
    import x3pio

    content, verify = file.content, True
    for _ in range(3):
        if isinstance(problem, x3pio.X3pChecksumError):
            verify = False
            notes.append(f"forgiven: {str(problem).rstrip('.')}")
        elif isinstance(problem, x3pio.X3pFormatError) and "root element" in str(problem):
            content, verify = _with_root(content), False
            notes.append(
                "forgiven: its root element has no namespace or another name; checksums were not compared"
            )
        else:
            break
        try:
            return x3pio.read(io.BytesIO(content), verify=verify)
        except (x3pio.X3pError, zipfile.BadZipFile) as other:
            problem = other
    raise UnusableInput(f"{file.name}: is no X3P file that can be read: {problem}") from problem


def _with_root(content: bytes) -> bytes:
    """The archive with the root element that the standard asks for, and without files that a system left in it."""
    goal = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as before, zipfile.ZipFile(goal, "w") as after:
        for entry in before.infolist():
            if entry.filename.startswith("__MACOSX") or entry.filename.endswith((".DS_Store", "/")):
                continue
            data = before.read(entry)
            if entry.filename.endswith("main.xml"):
                data = _ROOT.sub(
                    lambda found: (
                        b"</p:ISO5436_2>"
                        if found[1]
                        else b'<p:ISO5436_2 xmlns:p="' + _NAMESPACE.encode() + b'">'
                    ),
                    data,
                )
            after.writestr(entry.filename, data)
    return goal.getvalue()


def _iso_text(file: InputFile, scale: float) -> Topography:
    """ISO 25178-71: a header of ``key = value``, heights between lines of asterisks, all in metres."""
    parts = re.split(r"^\s*\*\s*$", decode(file), flags=re.MULTILINE)
    if len(parts) < 2:
        raise UnusableInput(f"{file.name}: has no line “*” between its header and its heights")
    pairs = (line.split("=", 1) for line in parts[0].splitlines() if "=" in line)
    header = {key.strip().lower(): value.strip() for key, value in pairs}
    try:
        nx, ny = int(header["numpoints"]), int(header["numprofiles"])
        dx, dy, dz = (float(header[f"{axis}scale"]) for axis in "xyz")
    except (KeyError, ValueError) as problem:
        raise UnusableInput(f"{file.name}: its header lacks {problem} or has no number there") from problem
    words = parts[1].split()
    values = np.array([np.nan if word.upper() == "BAD" else _number(file, word) for word in words])
    if len(values) != nx * ny:
        raise UnusableInput(f"{file.name}: {len(values)} heights, and its header says {nx} × {ny}")
    return _topography(
        file, values.reshape(ny, nx), dz * scale * _METRE, (dx * scale * _METRE, dy * scale * _METRE)
    )


def _number(file: InputFile, word: str) -> float:
    try:
        return float(word)
    except ValueError as problem:
        raise UnusableInput(f"{file.name}: “{shown(word)}” is not a height") from problem


def _csv_grid(file: InputFile) -> Topography:
    lines = decode(file).splitlines()
    fields: dict[str, str] = {}
    rows: list[str] = []
    for line in lines:
        found = re.match(r"^[#;\s]*([A-Za-z_ ]+?)\s*[:=]\s*(.+?)\s*$", line)
        if found and not rows:
            fields[found[1].strip().lower()] = found[2]
        elif line.strip():
            rows.append(line)
    missing = [name for name in ("step_x", "step_y", "heights") if name not in fields]
    if missing:
        raise UnusableInput(
            f"{file.name}: lacks {', '.join(missing)}; write “step_x: 0.5 µm”, “step_y: 0.5 µm” and “heights: nm” above "
            "the heights"
        )
    delimiter = max(",;\t", key=rows[0].count) if rows else ","
    cells = [row.split(delimiter) for row in rows]
    if len({len(row) for row in cells}) != 1:
        raise UnusableInput(f"{file.name}: its rows have different lengths")
    heights = [[_height(file, cell, comma=delimiter != ",") for cell in row] for row in cells]
    try:
        steps = read_quantity(fields["step_x"], "µm"), read_quantity(fields["step_y"], "µm")
        unit = read_quantity(f"1 {fields['heights']}", "µm")
    except UnitProblem as problem:
        raise UnusableInput(f"{file.name}: {problem}") from problem
    return _topography(file, np.array(heights), unit, steps, header=fields)


def _height(file: InputFile, cell: str, *, comma: bool) -> float:
    text = cell.strip().replace(",", ".") if comma else cell.strip()
    return np.nan if text.lower() in ("", "nan", "bad", "***") else _number(file, text)


def _topography(
    file: InputFile,
    z: np.ndarray,
    unit: float,
    steps: tuple[float, float],
    notes: tuple[str, ...] = (),
    header: dict[str, str] | None = None,
) -> Topography:
    seen, left_out = seen_alone(file.name, z)
    return Topography(
        name=file.name,
        z=seen * unit,
        dx=steps[0],
        dy=steps[1],
        file=file.name,
        sha256=hashlib.sha256(file.content).hexdigest(),
        header=MappingProxyType(header or {}),
        notes=(*notes, *left_out),
    )


def _refuse_implausible(found: Topography) -> None:
    """Refuse what a wrong unit makes.

    Raises
    ------
    UnusableInput
        If it is too small, heights are too far apart, or points too far from each other.
    """
    if min(found.z.shape) < _FEWEST:
        rows, columns = found.z.shape
        raise UnusableInput(
            f"{found.name}: {rows} × {columns} points, and at least {_FEWEST} each way are needed"
        )
    if not np.isfinite(found.z).any():
        raise UnusableInput(f"{found.name}: the instrument saw nothing")
    span, widest = float(np.nanmax(found.z) - np.nanmin(found.z)), max(found.dx, found.dy)
    if span > _HIGHEST:
        raise UnusableInput(
            f"{found.name}: heights differ by {span:.4g} µm; check the unit, and say how many metres it has (--scale)"
        )
    if widest > _WIDEST:
        raise UnusableInput(
            f"{found.name}: points are {widest:.4g} µm apart; check the unit, and say how many metres it has (--scale)"
        )
