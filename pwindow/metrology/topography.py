"""A height map as it was measured over printed lines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np


@dataclass(frozen=True, kw_only=True)
class Topography:
    """Heights on a regular grid over a print or a plate.

    Attributes
    ----------
    name : str
    z : ndarray, shape (ny, nx), µm
        NaN where the instrument saw nothing.
    dx, dy : float
        Distance of neighbouring points in a row and of neighbouring rows, µm.
    file, sha256 : str
        That it came from, and of the file's bytes.
    header : mapping of str to str
        What the file says beside the numbers, such as the print.
    notes : tuple of str
        What was noticed or forgiven when it was read.
    """

    name: str
    z: np.ndarray
    dx: float
    dy: float
    file: str = ""
    sha256: str = ""
    header: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    notes: tuple[str, ...] = ()

    def turned(self) -> Topography:
        """The same with rows and columns exchanged."""
        return replace(self, z=self.z.T, dx=self.dy, dy=self.dx)

    def along_columns(self) -> Topography:
        """Turned, if need be, so that lines run from row to row: their mean across varies more than their mean along."""
        across, along = (np.nanstd(np.nanmean(self.z, axis=axis)) for axis in (0, 1))
        return self if across >= along else self.turned()
