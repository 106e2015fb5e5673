"""Stations and their temperatures."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from sqlalchemy import RowMapping, Select, Table, func, select
from sqlalchemy.sql.elements import ColumnElement

from models.errors import BadInput, Problem
from models.records import DailyTemperatures, DateArray
from models.units import FloatArray
from service.store.errors import NotFound
from service.store.images import references_to
from service.store.owned import OwnedByGrower, Stored, count, pick
from service.store.records import Counts, Station, TemperatureVersion
from service.store.tables import Base, OutlookRow, StationRow, TemperatureRow, table_of

EPOCH = dt.date(1970, 1, 1).toordinal()


class Stations(OwnedByGrower):
    """The grower's weather stations."""

    def put(self, station: Station) -> bool:
        """Create or replace a station; True if it is new."""
        days = [day.isoformat() for day in station.changed_on]
        values = {**dataclasses.asdict(station), "changed_on": days or None}
        return self._put(StationRow, values, key=station.key)

    def get(self, key: str) -> Station:
        """Raises NotFound."""
        return _station(self._find(StationRow, "station", key=key))

    def all(self) -> tuple[Station, ...]:
        """By key."""
        stations = [_station(row) for row in self._select(StationRow)]
        return tuple(sorted(stations, key=lambda station: station.key))

    def delete(self, key: str) -> None:
        """Delete a station with all that it owns: its temperatures and outlooks.

        Raises NotFound, InUse (vineyards).
        """
        self.get(key)
        self._check_unused(StationRow, "station", key)
        for row, _ in references_to(StationRow):
            self._delete(row, station=key)
        self._delete(StationRow, key=key)


def _station(row: RowMapping) -> Station:
    days = tuple(dt.date.fromisoformat(day) for day in row["changed_on"] or ())
    return Station(**{**pick(row, Station), "changed_on": days})


class Temperatures(OwnedByGrower):
    """Daily extremes at the grower's stations: what was observed, and the outlooks that were supplied."""

    def store(self, station: str, dates: DateArray, tmin_c: FloatArray, tmax_c: FloatArray) -> Counts:
        """Store observed days, in any order; NaN is a missing value, and takes an old one's place too.

        Raises NotFound (station), BadInput (a day twice, half a day, a maximum below its minimum).
        """
        self._find(StationRow, "station", key=station)
        days = _as_rows(dates, tmin_c, tmax_c)
        if not days:
            return Counts()
        table = table_of(TemperatureRow)
        query = _day_values(table).where(*self._matching(table, {"station": station}), _span(table, days))
        held = set(map(tuple, self._connection.execute(query)))
        news = [day for day in days if tuple(day.values()) not in held]
        stored = Stored((), ())
        if news:
            stored = self._store(TemperatureRow, news, bounds=[_span(table, news)], station=station)
        counts = count(stored.outcomes, stored.replaced)
        return dataclasses.replace(counts, unchanged=len(days) - len(news))

    def observed(self, station: str) -> DailyTemperatures | None:
        """All days from the first to the last that is stored, NaN where none is; None without any.

        Raises NotFound (station).
        """
        self._find(StationRow, "station", key=station)
        return self._daily(TemperatureRow, station=station)

    def stored(self, station: str) -> list[tuple[dt.date, float | None, float | None]]:
        """The days that are stored, in their order, without values where they are known to be missing.

        Raises NotFound (station).
        """
        self._find(StationRow, "station", key=station)
        table = table_of(TemperatureRow)
        query = _day_values(table).order_by(table.c.date)
        found = self._connection.execute(query.where(*self._matching(table, {"station": station})))
        return [(day, tmin_c, tmax_c) for day, tmin_c, tmax_c in found]

    def history(self, station: str, date: dt.date) -> tuple[TemperatureVersion, ...]:
        """Every value that a day has had, oldest first. Raises NotFound (station)."""
        self._find(StationRow, "station", key=station)
        return tuple(
            TemperatureVersion(
                row["tmin_c"], row["tmax_c"], row["stored_at"], row["superseded_at"], row["by"]
            )
            for row in self._history(TemperatureRow, station, date=date)
        )

    def delete(self, station: str, *, first: dt.date, last: dt.date) -> None:
        """Delete the measured days from ``first`` through ``last``. Raises NotFound (station, days)."""
        self._find(StationRow, "station", key=station)
        table = table_of(TemperatureRow)
        span = table.c.date.between(first, last)
        if not self._delete(TemperatureRow, bounds=[span], station=station):
            raise NotFound("temperature", f"{first} to {last}")

    def delete_outlook(self, station: str, issued_on: dt.date) -> None:
        """Delete the outlook that was issued on a day. Raises NotFound (station, outlook)."""
        self._find(StationRow, "station", key=station)
        if not self._delete(OutlookRow, station=station, issued_on=issued_on):
            raise NotFound("outlook", str(issued_on))

    def store_outlook(
        self, station: str, issued_on: dt.date, dates: DateArray, tmin_c: FloatArray, tmax_c: FloatArray
    ) -> Counts:
        """Store an outlook; it takes the place of one issued on the same day, with days that it lacks too.

        Raises NotFound (station), BadInput (a day twice, half a day, a maximum below its minimum).
        """
        self._find(StationRow, "station", key=station)
        days = _as_rows(dates, tmin_c, tmax_c)
        kept = {day["date"] for day in days}
        held = self._select(OutlookRow, station=station, issued_on=issued_on)
        for row in held:
            if row["date"] not in kept:
                self._delete(OutlookRow, station=station, issued_on=issued_on, date=row["date"])
        stored = self._store(OutlookRow, days, station=station, issued_on=issued_on)
        return count(stored.outcomes, stored.replaced)

    def outlook(self, station: str, as_of: dt.date) -> tuple[dt.date, DailyTemperatures] | None:
        """Day of issue and days of the latest outlook issued on or before ``as_of``.

        Raises NotFound (station).
        """
        self._find(StationRow, "station", key=station)
        table = table_of(OutlookRow)
        latest = select(func.max(table.c.issued_on)).where(
            *self._matching(table, {"station": station}), table.c.issued_on <= as_of
        )
        issued_on = self._connection.execute(latest).scalar_one()
        if issued_on is None:
            return None
        days = self._daily(OutlookRow, station=station, issued_on=issued_on)
        return None if days is None else (issued_on, days)

    def _daily(self, row: type[Base], **where: Any) -> DailyTemperatures | None:
        table = table_of(row)
        query = _day_values(table).where(*self._matching(table, where))
        found = self._connection.execute(query).all()
        if not found:
            return None
        stored, stored_tmin, stored_tmax = zip(*found, strict=True)
        days = (np.array([day.toordinal() for day in stored]) - EPOCH).astype("datetime64[D]")
        dates = np.arange(days.min(), days.max() + np.timedelta64(1, "D"))
        place = (days - dates[0]).astype(int)
        tmin_c, tmax_c = np.full((2, dates.size), np.nan)
        tmin_c[place] = np.array(stored_tmin, dtype=float)
        tmax_c[place] = np.array(stored_tmax, dtype=float)
        return DailyTemperatures(dates, tmin_c, tmax_c)


def _day_values(table: Table) -> Select[dt.date, float | None, float | None]:
    return select(table.c.date, table.c.tmin_c, table.c.tmax_c)


def _span(table: Table, days: Sequence[Mapping[str, Any]]) -> ColumnElement[bool]:
    return table.c.date.between(days[0]["date"], days[-1]["date"])


def _as_rows(dates: DateArray, tmin_c: FloatArray, tmax_c: FloatArray) -> list[dict[str, Any]]:
    """Days as rows for a table, sorted, NaN as an empty value; BadInput if they could not be a record."""
    order = np.argsort(dates, kind="stable")
    days = dates[order].astype("datetime64[D]")
    repeated = np.unique(days[1:][days[1:] == days[:-1]])
    if repeated.size:
        raise BadInput("a day is given twice", [Problem(str(day), "given twice") for day in repeated])
    record = [column[order] for column in (tmin_c, tmax_c)]
    alone = np.isnan(record[0]) != np.isnan(record[1])
    if alone.any():
        problem = "a minimum or a maximum alone; they must be missing together"
        raise BadInput("half a day is missing", [Problem(str(day), problem) for day in days[alone]])
    swapped = record[1] < record[0]
    if swapped.any():
        raise BadInput(
            "a daily maximum lies below its minimum",
            [Problem(str(day), "maximum below minimum") for day in days[swapped]],
        )
    missing = np.isnan(record[0])
    low, high = (column.astype(object) for column in record)
    low[missing] = high[missing] = None
    return [
        {"date": day, "tmin_c": tmin, "tmax_c": tmax}
        for day, tmin, tmax in zip(days.tolist(), low.tolist(), high.tolist(), strict=True)
    ]
