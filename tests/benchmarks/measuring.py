"""How benchmarks measure, and how they tell it: processor time, taken in turn, as tables in Markdown."""

from __future__ import annotations

import datetime as dt
import os
import resource
import statistics
from collections.abc import Callable, Sequence
from pathlib import Path

from service.workers import available_cores

HERE = Path(__file__).parent


def processor_seconds(work: Callable[[], object]) -> float:
    """Of one run, in this process and the children that it waited for. [s]"""
    before = _spent()
    work()
    return _spent() - before


def _spent() -> float:
    usage = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in usage)


def in_turn(*works: Callable[[], object], times: int = 5) -> list[float]:
    """The median processor time of each, taken in turn after a first run that does not count. [s]"""
    for work in works:
        work()
    rounds = [[processor_seconds(work) for work in works] for _ in range(times)]
    return [statistics.median(each) for each in zip(*rounds, strict=True)]


def peak_mb() -> float:
    """The most memory that this process has had so far. [MB]

    Not ``ru_maxrss``: that of a new process begins with what its parent held.
    """
    status = Path("/proc/self/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) * 1024 / 1e6


def made_on() -> str:
    """Day, cores, and how busy they were with other work."""
    busy = ", ".join(f"{load:.0f}" for load in os.getloadavg())
    day = dt.datetime.now(dt.UTC).date()
    return (
        f"Made on {day} on {available_cores()} cores that others shared (load over 1, 5, 15 minutes: {busy})."
    )


def table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """In Markdown."""
    lines = [columns, ["---"] * len(columns), *rows]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)


def write_page(name: str, *parts: str) -> None:
    """A page beside the benchmarks."""
    (HERE / name).write_text("\n\n".join(parts) + "\n", encoding="utf-8")
