"""The archive of trials: an SQLite file or a PostgreSQL server."""

from pwindow.trials.archive.adding import Added, Comparison
from pwindow.trials.archive.archive import STANDINGS, USED, Archive

__all__ = ["STANDINGS", "USED", "Added", "Archive", "Comparison"]
