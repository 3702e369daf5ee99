"""The archive of trials: an SQLite file or a PostgreSQL server."""

from pwindow.trials.archive.archive import STANDINGS, USED, Added, Archive, Comparison

__all__ = ["STANDINGS", "USED", "Added", "Archive", "Comparison"]
