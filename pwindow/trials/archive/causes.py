"""Why a database refuses, and what helps."""

from __future__ import annotations

import sqlite3

from sqlalchemy import URL
from sqlalchemy.exc import DBAPIError

from pwindow.errors import UnusableInput
from pwindow.trials.archive.sqlite import of_sqlite


def refusals(url: URL) -> tuple[type[Exception], ...]:
    """What reaching an archive raises: what its driver does, and what carries that as ``orig``."""
    if url.get_backend_name() == "sqlite":
        return DBAPIError, sqlite3.Error
    from psycopg import Error  # takes a moment to load

    return DBAPIError, Error


def cause_of(problem: Exception, url: URL, shown: str) -> UnusableInput:
    """The message for a user about a refusal.

    Parameters
    ----------
    problem : Exception
        One of the `refusals`.
    url : URL
        Of the archive.
    shown : str
        Its address without a password.
    """
    refusal = (problem.orig or problem) if isinstance(problem, DBAPIError) else problem
    found = _found(refusal, url)
    if found is None:
        reason = (str(refusal).strip() or type(refusal).__name__).splitlines()[0]
        found = f"{reason}; check the address, and that nothing but pwindow has changed the database"
    return UnusableInput(f"archive {shown}: {found}")


def _found(refusal: BaseException, url: URL) -> str | None:
    if isinstance(refusal, sqlite3.Error):
        return of_sqlite(refusal)
    if url.get_backend_name() == "sqlite":
        return None
    from pwindow.trials.archive.postgresql import of_postgresql

    return of_postgresql(refusal, url)
