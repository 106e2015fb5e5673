"""Keys, and who one is with them."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self

from fastapi import Path, Request
from pydantic import AwareDatetime, Field

from service.api.part import part
from service.api.responses import problems
from service.api.schemas import Body, Name
from service.store.access import Key, Role
from service.usecases.documents import Slug
from service.usecases.keys import LONGEST_NAME, Asker, make_key
from service.web.access import Asked, Grower, needs
from service.web.calendar_links import new_calendar_link
from service.web.days import WrittenOut
from service.web.keys import VineyardKey
from service.web.records import store

router = part("", "keys")

KeyId = Annotated[str, Path(alias="key", max_length=63, description="The key's identifier, not its secret.")]
Expires = Annotated[
    AwareDatetime | None,
    WrittenOut,
    Field(description="When its time is over; by default when that of the key that makes it is."),
]


class KeyBody(Body):
    """A key to make."""

    name: Annotated[
        Name, Field(max_length=LONGEST_NAME, description="Whose it is, as the list of changes tells it.")
    ]
    role: Literal["read", "record", "manage"] = Field(
        description="`read`; `record`: visits and frost marks too; `manage`: everything, keys too."
    )
    growers: list[Slug] | None = Field(
        default=None, min_length=1, max_length=1000, description="By default all of your own."
    )
    expires_at: Expires = None


class KeyAnswer(Body):
    """A key, without its secret."""

    key: str = Field(description="Its identifier.")
    name: str
    role: Role = Field(
        description="Beside those of a key that is made: `calendar`, a calendar link; `invitation`, a link for a phone."
    )
    growers: list[str] = Field(description="Those of yours that it lets in to.")
    vineyard: str | None = Field(description="The one that a calendar link shows.")
    made_by: str | None = Field(description="The key that it was made with; null if on the machine itself.")
    created_at: dt.datetime
    expires_at: dt.datetime | None

    @classmethod
    def of(cls, key: Key, who: Asker) -> Self:
        """For who asks: of others' growers it tells nothing."""
        growers = [grower for grower in key.growers if grower in who.growers]
        return cls.showing(key, key=key.id, growers=growers)


class NewKey(KeyAnswer):
    """A key with its secret."""

    secret: str = Field(description="Told this once: send it as `Authorization: Bearer SECRET`.")


class KeyList(Body):
    """Keys, oldest first."""

    keys: list[KeyAnswer]


class Me(Body):
    """Who asks."""

    key: str | None = Field(description="Null in open access.")
    name: str
    role: Role
    growers: list[str]
    expires_at: dt.datetime | None


class CalendarLink(Body):
    """Addresses that show one vineyard's calendar and news to whoever has them, and nothing else."""

    key: str = Field(description="To revoke the link: `DELETE /v1/keys/{key}`.")
    url: str
    webcal: str = Field(description="The same address, as calendar programs open it by themselves.")
    news: str = Field(description="The address of the vineyard's news as an Atom feed.")


@router.get("/v1/me", summary="Show who asks")
def show_me(who: Asked) -> Me:
    """Your key, what it may do, and the growers that it lets in to."""
    expires_at = None if who.key is None else who.key.expires_at
    return Me(
        key=None if who.key is None else who.key.id,
        name=who.name,
        role=who.role,
        growers=list(who.growers),
        expires_at=expires_at,
    )


@router.get("/v1/keys", summary="List keys")
@needs("manage")
def list_keys(request: Request, who: Asked) -> KeyList:
    """All keys that let in to one of your growers, calendar links too; without their secrets, which nobody keeps."""
    with store(request).access(read_only=True) as access:
        return KeyList(keys=[KeyAnswer.of(key, who) for key in access.all_keys(who.growers)])


@router.post("/v1/keys", summary="Make a key", status_code=201, responses=problems(404))
def make_a_key(request: Request, body: KeyBody, who: Asked) -> NewKey:
    """Make a key for yourself or somebody else: to your growers or some of them, and with no longer a life than the
    one it is made with. Its secret is in this answer and nowhere else.
    """
    with store(request).access() as access:
        key, secret = make_key(
            access,
            name=body.name,
            role=body.role,
            growers=who.growers if body.growers is None else body.growers,
            expires_at=body.expires_at,
            by=who,
        )
    return NewKey(**dict(KeyAnswer.of(key, who)), secret=secret)


@router.delete("/v1/keys/{key}", summary="Revoke a key", responses=problems(404))
def revoke_key(request: Request, id: KeyId, who: Asked) -> KeyList:
    """Revoke a key at once, with the calendar links made with it. A key that also lets in to growers that are not
    yours still does so. The answer lists the keys that are left.
    """
    with store(request).access() as access:
        access.revoke(id, who.growers)
        return KeyList(keys=[KeyAnswer.of(key, who) for key in access.all_keys(who.growers)])


@router.post(
    "/v1/vineyards/{vineyard}/calendar-link",
    summary="Make a calendar link",
    status_code=201,
    responses=problems(404),
)
@needs("record")
def make_calendar_link(request: Request, vineyard: VineyardKey, grower: Grower, who: Asked) -> CalendarLink:
    """Make an address of the vineyard's calendar for calendar programs, which send no key, and one of its news. Whoever
    has them can read that calendar and those news, and nothing else. Each call makes another link; all of them are
    among the keys, and are revoked there. A link goes with the key that it was made with.
    """
    return CalendarLink.showing(new_calendar_link(request, who, grower, vineyard))
