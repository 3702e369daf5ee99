"""The archive of trials: an SQLite file or a PostgreSQL server."""

from pwindow.trials.archive.adding import PLATES, Added, Comparison, checksum_of
from pwindow.trials.archive.archive import Archive, standings_of
from pwindow.trials.archive.standing import STANDINGS, USED, Standing

__all__ = [
    "PLATES",
    "STANDINGS",
    "USED",
    "Added",
    "Archive",
    "Comparison",
    "Standing",
    "checksum_of",
    "standings_of",
]
