"""Counts as they come one by one: each checked, and none taken twice."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from typing import TypeVar

from models.errors import BadInput, Problem
from models.records import CropCount, SetCount
from service.ingest.options import ReadOptions
from service.ingest.places import find_place

Count = TypeVar("Count", SetCount, CropCount)


def counts_taken(
    counts: Sequence[Count],
    *,
    blocks: Mapping[str, str],
    check: Callable[[Count, ReadOptions], None],
    options: ReadOptions,
    of: Callable[[Count], Hashable],
    what: str,
) -> list[Count]:
    """The counts, each once.

    Parameters
    ----------
    counts : sequence
    blocks : mapping of a block's key to its cultivar
    check : callable
        Raises BadInput for a count that cannot have been made.
    options : ReadOptions
        Passed to ``check``.
    of : callable
        What two counts of one day have in common where they exclude each other, besides day and block.
    what : str
        Its name, as in "another count of that day and cluster differs".

    Raises
    ------
    BadInput
        With all counts that cannot be taken, as ``body.3``.
    """
    problems: list[Problem] = []
    taken: dict[tuple[Hashable, ...], Count] = {}
    for place, count in enumerate(counts):
        try:
            find_place(count.block, "", blocks=blocks)
            check(count, options)
        except BadInput as error:
            problems.append(Problem(f"body.{place}", error.message))
            continue
        if taken.setdefault((count.date, count.block, of(count)), count) != count:
            problems.append(Problem(f"body.{place}", f"another count of that day and {what} differs"))
    if problems:
        raise BadInput(f"{len(problems)} of {len(counts)} counts cannot be taken", problems)
    return list(taken.values())
