"""Who may come in: the growers, and the keys that let somebody in to them."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import Connection, Table, delete, insert, literal, select
from sqlalchemy.sql.elements import ColumnElement

from service import clock
from service.store.errors import AlreadyThere, InUse, NotFound
from service.store.results import UNFINISHED
from service.store.tables import Base, GrowerRow, JobRow, KeyGrowerRow, KeyRow, SessionRow, table_of

Role = Literal["invitation", "calendar", "read", "record", "manage"]
"""What a key may do, the least first. An invitation only makes a key; a calendar link only shows one calendar."""

GROWERS = table_of(GrowerRow)
KEYS = table_of(KeyRow)
KEY_GROWERS = table_of(KeyGrowerRow)
SESSIONS = table_of(SessionRow)


@dataclass(frozen=True, kw_only=True)
class Key:
    """A secret that lets somebody in, without the secret. [UTC]

    ``made_by`` is the key it was made with; ``vineyard`` the one that a calendar link shows.
    """

    id: str
    name: str
    role: Role
    growers: tuple[str, ...]
    created_at: dt.datetime
    expires_at: dt.datetime | None = None
    made_by: str | None = None
    vineyard: str | None = None


class Access:
    """Growers and keys, within one transaction."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def growers(self) -> tuple[str, ...]:
        """All of them, sorted."""
        return tuple(sorted(self._connection.execute(select(GROWERS.c.key)).scalars()))

    def add_grower(self, grower: str) -> None:
        """Raises AlreadyThere."""
        if grower in self.growers():
            raise AlreadyThere("grower", grower)
        self._connection.execute(insert(GROWERS).values(key=grower, created_at=clock.now()))

    def rename_grower(self, grower: str, to: str) -> None:
        """Give all that a grower owns, keys too, to one of another name. Raises NotFound, AlreadyThere, InUse (job)."""
        self._hold(grower)
        self.add_grower(to)
        for table in _owned():
            columns = [literal(to) if column.name == "grower" else column for column in table.c]
            rows = select(*columns).where(table.c.grower == grower)
            self._connection.execute(insert(table).from_select([column.name for column in table.c], rows))
        self._remove(grower)

    def delete_grower(self, grower: str) -> None:
        """Delete all that a grower owns, for good, and the keys of nobody else. Raises NotFound, InUse (job)."""
        self._hold(grower)
        self._remove(grower)
        held = select(KEY_GROWERS.c.key)
        self._connection.execute(delete(KEYS).where(KEYS.c.id.not_in(held)))

    def _hold(self, grower: str) -> None:
        """Let the grower's writers wait; one whose work is at it cannot be moved."""
        row = select(GROWERS.c.key).where(GROWERS.c.key == grower).with_for_update()
        if self._connection.execute(row).first() is None:
            raise NotFound("grower", grower)
        jobs = table_of(JobRow)
        running = select(jobs.c.id).where(jobs.c.grower == grower, jobs.c.state.in_(UNFINISHED))
        users = [f"job {id}, which has not ended" for id in self._connection.execute(running).scalars()]
        if users:
            raise InUse("grower", grower, users)

    def _remove(self, grower: str) -> None:
        for table in reversed(_owned()):
            self._connection.execute(delete(table).where(table.c.grower == grower))
        self._connection.execute(delete(GROWERS).where(GROWERS.c.key == grower))

    def add_key(self, key: Key, digest: str) -> None:
        """Raises NotFound (grower)."""
        known = self.growers()
        for grower in key.growers:
            if grower not in known:
                raise NotFound("grower", grower)
        values = {column.name: getattr(key, column.name) for column in KEYS.c if column.name != "digest"}
        self._connection.execute(insert(KEYS).values(**values, digest=digest))
        rows = [{"grower": grower, "key": key.id} for grower in key.growers]
        self._connection.execute(insert(KEY_GROWERS), rows)

    def key_of(self, digest: str) -> Key | None:
        """The key with this digest, unless there is none or its time is over."""
        found = self._keys(KEYS.c.digest == digest)
        return found[0] if found and not _is_over(found[0]) else None

    def add_session(self, digest: str, key: str, expires_at: dt.datetime) -> None:
        """Note a browser that has signed in with a key, and forget those whose time is over."""
        self._connection.execute(delete(SESSIONS).where(SESSIONS.c.expires_at <= clock.now()))
        self._connection.execute(insert(SESSIONS).values(digest=digest, key=key, expires_at=expires_at))

    def key_of_session(self, digest: str) -> Key | None:
        """The key that a browser has signed in with, unless its time, or the key's, is over."""
        of = select(SESSIONS.c.key).where(SESSIONS.c.digest == digest, SESSIONS.c.expires_at > clock.now())
        found = self._keys(KEYS.c.id.in_(of))
        return found[0] if found and not _is_over(found[0]) else None

    def end_session(self, digest: str) -> None:
        """Forget a browser; one that is not known is forgotten already."""
        self._connection.execute(delete(SESSIONS).where(SESSIONS.c.digest == digest))

    def end_all_sessions(self) -> None:
        """Forget every browser that has signed in."""
        self._connection.execute(delete(SESSIONS))

    def key(self, id: str) -> Key:
        """Raises NotFound."""
        found = self._keys(KEYS.c.id == id)
        if not found:
            raise NotFound("key", id)
        return found[0]

    def all_keys(self, growers: Collection[str] | None = None) -> tuple[Key, ...]:
        """Those that let in to one of the growers (by default all), oldest first; also those whose time is over."""
        return tuple(
            key for key in self._keys() if growers is None or not set(growers).isdisjoint(key.growers)
        )

    def revoke(self, id: str, growers: Collection[str] | None = None) -> None:
        """Let a key in to the growers no more (by default to none), and delete it where nobody is left.

        What only stands in for it goes with it: its calendar links and invitations. Raises NotFound.
        """
        held = {key.id: key for key in self.all_keys(growers)}
        if id not in held:
            raise NotFound("key", id)
        stand_ins = [
            key.id for key in held.values() if key.made_by == id and key.role in ("calendar", "invitation")
        ]
        for each in (id, *stand_ins):
            left = set(held[each].growers) - set(held[each].growers if growers is None else growers)
            rows = delete(KEY_GROWERS).where(KEY_GROWERS.c.key == each, KEY_GROWERS.c.grower.not_in(left))
            gone = self._connection.execute(rows).rowcount
            if each == id and not gone:  # another was quicker
                raise NotFound("key", id)
            if not left:
                self._connection.execute(delete(KEYS).where(KEYS.c.id == each))

    def _keys(self, *conditions: ColumnElement[bool]) -> list[Key]:
        rows = self._connection.execute(select(KEYS).where(*conditions)).mappings().all()
        of = select(KEY_GROWERS).where(KEY_GROWERS.c.key.in_([row["id"] for row in rows]))
        growers: dict[str, list[str]] = defaultdict(list)
        for grower, key in self._connection.execute(of):
            growers[key].append(grower)
        keys = [
            Key(
                growers=tuple(sorted(growers[row["id"]])),
                **{name: value for name, value in row.items() if name != "digest"},
            )
            for row in rows
        ]
        return sorted(keys, key=lambda key: (key.created_at, key.id))


def _is_over(key: Key) -> bool:
    return key.expires_at is not None and key.expires_at <= clock.now()


def _owned() -> list[Table]:
    """The tables whose rows are of one grower, after those that they refer to."""
    return [table for table in Base.metadata.sorted_tables if "grower" in table.c]
