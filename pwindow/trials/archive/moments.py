"""Moments in columns."""

from __future__ import annotations

import datetime

from sqlalchemy import DateTime, Dialect, TypeDecorator


class Moment(TypeDecorator[datetime.datetime]):
    """A moment in UTC; SQLite keeps no zone."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_result_value(
        self, value: datetime.datetime | None, dialect: Dialect
    ) -> datetime.datetime | None:
        return value if value is None or value.tzinfo else value.replace(tzinfo=datetime.UTC)
