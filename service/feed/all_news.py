"""The news of every vineyard of every grower, told by all cores of the machine, or by a cluster."""

from __future__ import annotations

import datetime as dt
import logging
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from service.feed.news import Telling, tell_vineyard
from service.mail import MailServer
from service.store.engine import Store
from service.store.errors import StoreError
from service.usecases.news import due
from service.workers import workers_for

FEW = 8  # due vineyards that are told here: a process takes as long to start as some forecasts
FAILED = "an error of the program, which the log tells"

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class DueVineyard:
    """A vineyard whose morning has come, and the day that it is there."""

    grower: str
    vineyard: str
    day: dt.date


@dataclass(frozen=True)
class ToldGrower:
    """What came of one vineyard of a grower."""

    grower: str
    telling: Telling


@dataclass(frozen=True)
class AllNews:
    """What came of each vineyard that was due, and how many were not: their morning is to come, or they were told."""

    told: tuple[ToldGrower, ...]
    not_due: int

    @property
    def counts(self) -> Counter[str]:
        """How many vineyards came to each outcome."""
        return Counter(each.telling.outcome for each in self.told)

    @property
    def is_well(self) -> bool:
        """Whether every letter was taken, and nothing failed."""
        return not any(each.telling.went_wrong for each in self.told)


def tell_all(
    url: str,
    *,
    now: dt.datetime,
    server: MailServer | None,
    tell: Callable[[float, str], None],
    scheduler: str | None = None,
) -> AllNews:
    """Tell the news of every vineyard that is due: keep its answer, and mail what is new in it.

    What fails with one vineyard keeps no other from its news; it is due again with the next call.

    Parameters
    ----------
    url : str
        The database's; each process opens it for itself, so those of a cluster must reach it, and the mail server.
    tell : callable
        Told the share that is done, from 0 to 1, and what is done.
    scheduler : str, optional
        The address of a Dask cluster; by default the processes are those of this machine.

    Raises
    ------
    Unavailable
        If the database cannot be read to begin with.
    NoCluster
        If no scheduler answers.
    WorkersLost
        If a process ended without an answer; what was told until then is kept.
    """
    waiting, there = _due(url, now)
    works = [partial(_tell_one, url, each, now=now, server=server) for each in waiting]

    def done(count: int) -> None:
        tell(count / len(works), f"vineyards {count}/{len(works)}")

    if len(works) < FEW:
        told = []
        for work in works:
            told.append(work())
            done(len(told))
    else:
        with workers_for(scheduler) as workers:
            told = workers.run_each(works, done)
    found = (ToldGrower(each.grower, telling) for each, telling in zip(waiting, told, strict=True))
    return AllNews(tuple(found), not_due=there - len(waiting))


def _due(url: str, now: dt.datetime) -> tuple[list[DueVineyard], int]:
    """The vineyards that are due, and how many there are in all."""
    store = Store(url)
    waiting: list[DueVineyard] = []
    there = 0
    try:
        with store.access(read_only=True) as access:
            growers = access.growers()
        for grower in growers:
            with store.transaction(grower, read_only=True) as records:
                there += len(records.vineyards.all())
            waiting += [DueVineyard(grower, vineyard, day) for vineyard, day in due(store, grower, now=now)]
    finally:
        store.close()
    return waiting, there


def _tell_one(url: str, due: DueVineyard, *, now: dt.datetime, server: MailServer | None) -> Telling:
    store = Store(url)
    try:
        return tell_vineyard(store, due.grower, due.vineyard, due.day, now=now, server=server)
    except StoreError as error:
        return Telling(due.vineyard, due.day, "failed", problems=(str(error),))
    except Exception:  # one vineyard's fault must not keep the others from their news
        log.exception("vineyard %s of %s: its news could not be told", due.vineyard, due.grower)
        return Telling(due.vineyard, due.day, "failed", problems=(FAILED,))
    finally:
        store.close()
