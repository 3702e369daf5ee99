"""What one visitor has loaded, on the page and for the pages that come after."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.workflows.evidence import Evidence
from pwindow.workflows.given import given_evidence
from pwindow.workflows.loaded import Loaded, loaded_evidence, sort_files
from pwindow.workflows.uploads import given_uploads

_OFTEN = 60.0  # s between two notes that a visitor is still here
_INSTEAD = "; the data that the server was started with are shown"


@dataclass(frozen=True)
class Session:
    """What a visitor has loaded.

    Attributes
    ----------
    loaded : Loaded
    data : str or None
        Id under which the server keeps it; None where nothing is kept.
    seen : float
        When it was last used, s.
    """

    loaded: Loaded = field(default_factory=Loaded)
    data: str | None = None
    seen: float = field(default=-math.inf, compare=False)

    @property
    def names(self) -> tuple[str, ...]:
        """Of the files that were loaded, each with the sheet that was read where one was chosen."""
        return tuple(
            file.name + (f" (sheet “{file.sheet}”)" if file.sheet else "") for file in self.loaded.files
        )

    @classmethod
    def opened(cls, data: str | None, given: Evidence) -> tuple[Session, Evidence, tuple[str, ...]]:
        """The session of an id, the evidence with what was loaded in it, and what could not be had."""
        uploads = given_uploads()
        if data is None:
            return cls(), given, ()
        if uploads is None:
            return cls(), given, (f"data={data}: loaded files are not stored here{_INSTEAD}",)
        try:
            loaded = uploads.read(data)
            return cls(loaded, data), loaded_evidence(loaded, given)[0], ()
        except UnusableInput as problem:
            return cls(), given, (f"{problem}{_INSTEAD}",)

    def stayed(self) -> Session:
        """The session of a visitor who is not idle, which the server is told from time to time."""
        now = time.monotonic()
        if self.data is None or now - self.seen < _OFTEN:
            return self
        uploads = given_uploads()
        if uploads is not None:
            uploads.use(self.data)
        return replace(self, seen=now)

    def load(self, files: Sequence[InputFile], before: Evidence) -> tuple[Session, Evidence, str | None]:
        """The session and the evidence with more files, and the name of the product that was added last.

        Raises
        ------
        UnusableInput
            If any file cannot be used, or they are more than is kept of a visitor; all is as before then.
        """
        later, uploads = sort_files(files), given_uploads()
        expected = self.loaded.then(later)
        if uploads is not None:
            uploads.check(expected)
        evidence, added = loaded_evidence(later, before)
        if uploads is None:
            return Session(expected), evidence, added
        data, kept = uploads.keep(self.data, later, self.loaded)
        if kept != expected:  # another page of this visitor has loaded something meanwhile
            evidence, _ = loaded_evidence(kept, given_evidence())
        return Session(kept, data), evidence, added
