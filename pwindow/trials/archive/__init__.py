"""The archive of trials: an SQLite file or a PostgreSQL server."""

from pwindow.trials.archive.adding import Added, Comparison, checksum_of
from pwindow.trials.archive.archive import STANDINGS, USED, Archive, standings_of

__all__ = ["STANDINGS", "USED", "Added", "Archive", "Comparison", "checksum_of", "standings_of"]
