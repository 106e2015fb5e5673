"""Keys: made, found again by their secret, and handed on to a phone."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from models.errors import BadInput, Problem
from service import clock
from service.store.access import Access, Key, Role
from service.store.errors import NotFound

ROLES: tuple[Role, ...] = ("invitation", "calendar", "read", "record", "manage")
LONGEST_NAME = 63
PREFIX = "capfall-"  # a secret that is found where it should not be tells what it is
SECRET_BYTES = 32
INVITED_FOR = dt.timedelta(minutes=10)
STAYS_FOR = dt.timedelta(days=400)  # the longest that browsers keep a cookie (RFC 6265bis)
VISIT_LASTS = dt.timedelta(days=7)  # of a browser that is not to stay signed in; it forgets when it is closed
LOCAL_GROWER = "local"


class Made(NamedTuple):
    """A new key and its secret, which is told this once and kept nowhere."""

    key: Key
    secret: str


@dataclass(frozen=True)
class Asker:
    """Who asks. ``key`` is None in open access, and ``vineyard`` the only one that a calendar link shows."""

    name: str
    role: Role
    growers: tuple[str, ...]
    key: Key | None = None

    def may(self, needed: Role) -> bool:
        """Whether the role is enough."""
        return ROLES.index(self.role) >= ROLES.index(needed)


LOCAL = Asker(LOCAL_GROWER, "manage", (LOCAL_GROWER,))
"""Whoever asks in open access."""


def digest_of(secret: str) -> str:
    """What is kept of a secret. It is 256 random bits, so one fast round is enough: nobody can try them all."""
    return hashlib.sha256(secret.encode()).hexdigest()


def asker_with(access: Access, secret: str, *, session: bool = False) -> Asker | None:
    """Who asks with the secret of a key, or with a browser's token; None where it is not known, revoked, over, or an
    invitation.
    """
    digest = digest_of(secret)
    key = access.key_of_session(digest) if session else access.key_of(digest)
    if key is None or key.role == "invitation":
        return None
    return Asker(key.name, key.role, key.growers, key)


def begin_session(access: Access, key: Key, *, stay: bool) -> str:
    """A token by which a browser is known from now on, so that it need not keep the key."""
    token = secrets.token_urlsafe(SECRET_BYTES)
    access.add_session(digest_of(token), key.id, clock.now() + (STAYS_FOR if stay else VISIT_LASTS))
    return token


def end_session(access: Access, token: str) -> None:
    """Know a browser no more."""
    access.end_session(digest_of(token))


def make_key(
    access: Access,
    *,
    name: str,
    role: Role,
    growers: Sequence[str],
    expires_at: dt.datetime | None = None,
    vineyard: str | None = None,
    by: Asker | None = None,
) -> Made:
    """Make a key; what is made with a key (``by``) is none of a higher role, of others' growers, or of a longer life.

    Raises
    ------
    BadInput
        If the name, the growers, the role or the time cannot be.
    NotFound
        If there is no such grower.
    """
    own = None if by is None else by.key
    if own is not None and expires_at is None:
        expires_at = own.expires_at
    _check(name, role, growers, expires_at, by)
    key = Key(
        id=secrets.token_hex(5),
        name=name.strip(),
        role=role,
        growers=tuple(dict.fromkeys(growers)),
        created_at=clock.now(),
        expires_at=expires_at,
        made_by=None if own is None else own.id,
        vineyard=vineyard,
    )
    secret = PREFIX + secrets.token_urlsafe(SECRET_BYTES)
    access.add_key(key, digest_of(secret))
    return Made(key, secret)


def _check(
    name: str, role: Role, growers: Sequence[str], expires_at: dt.datetime | None, by: Asker | None
) -> None:
    problems = []
    if not name.strip() or len(name.strip()) > LONGEST_NAME or not name.isprintable():
        problems.append(Problem("name", f"give it a name of 1 to {LONGEST_NAME} characters in one line"))
    if not growers:
        problems.append(Problem("growers", "name at least one grower"))
    if expires_at is not None and expires_at <= clock.now():
        problems.append(Problem("expires_at", "lies in the past"))
    if by is not None:
        if not by.may(role):
            problems.append(Problem("role", f"a key that may {by.role} makes none that may {role}"))
        for grower in growers:
            if grower not in by.growers:
                raise NotFound("grower", grower)
        last = None if by.key is None else by.key.expires_at
        if last is not None and expires_at is not None and expires_at > last:
            problems.append(Problem("expires_at", f"the key that makes it is over on {last.isoformat()}"))
    if problems:
        raise BadInput("the key cannot be made", problems)


def invite(access: Access, by: Asker, *, name: str, growers: Sequence[str]) -> Made:
    """An invitation for a phone, good for ten minutes and once. Raises BadInput, NotFound (grower)."""
    over = clock.now() + INVITED_FOR
    if by.key is not None and by.key.expires_at is not None:
        over = min(over, by.key.expires_at)
    return make_key(access, name=name, role="invitation", growers=growers, expires_at=over, by=by)


def invitation_with(access: Access, secret: str) -> Key | None:
    """The invitation that a secret is; None where it is none, or used up, or over."""
    key = access.key_of(digest_of(secret))
    return key if key is not None and key.role == "invitation" else None


def accept(access: Access, secret: str) -> Made:
    """Take an invitation: it is used up, and the device has a key that may record. Raises NotFound."""
    invitation = invitation_with(access, secret)
    if invitation is None:
        raise NotFound("invitation", "this one")
    access.revoke(invitation.id)
    by = None
    if invitation.made_by is not None:
        host = access.key(invitation.made_by)
        by = Asker(host.name, host.role, host.growers, host)
    return make_key(access, name=invitation.name, role="record", growers=invitation.growers, by=by)


def link_calendar(access: Access, by: Asker, *, grower: str, vineyard: str) -> Made:
    """A link that shows one vineyard's calendar and nothing else. Raises BadInput, NotFound (grower)."""
    name = f"calendar of {vineyard}"[:LONGEST_NAME]
    return make_key(access, name=name, role="calendar", growers=[grower], vineyard=vineyard, by=by)
