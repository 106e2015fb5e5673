"""What a change did, as a sentence."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from service.words.plain import listed, sentence

THINGS = {
    "blocks": ("block", "blocks"),
    "bloom_dates": ("bloom log date", "bloom log dates"),
    "crop_counts": ("crop count", "crop counts"),
    "cultivars": ("cultivar", "cultivars"),
    "fit_in_use": ("fit in use", "fits in use"),
    "fits": ("fit", "fits"),
    "frosted_blocks": ("frost mark", "frost marks"),
    "news_readers": ("reader of news", "readers of news"),
    "outlooks": ("day of an outlook", "days of an outlook"),
    "set_counts": ("set count", "set counts"),
    "stations": ("station", "stations"),
    "temperatures": ("day of temperatures", "days of temperatures"),
    "vineyards": ("vineyard", "vineyards"),
    "visits": ("visit", "visits"),
}
DONE = ("added", "replaced", "deleted")
MOST_NAMED = 3

Written = Mapping[str, Any]


def what_changed(code: str, params: Mapping[str, Any]) -> str:
    """A sentence for a change's code, its parameters, and what it ``written``."""
    about = _about(code, params)
    rows = "; ".join(_clauses(params.get("written", ())))
    return sentence(f"{about}: {rows}" if about and rows else about or rows or "nothing changed") + "."


def rows_told(written: Iterable[Written]) -> dict[str, int]:
    """How many rows of what were written: {"visits added": 3}."""
    told: dict[str, int] = {}
    for each in written:
        for done in DONE:
            if each[done]:
                what = f"{_thing(each['table'], 2)} {done}"
                told[what] = told.get(what, 0) + each[done]
    return told


def _about(code: str, params: Mapping[str, Any]) -> str:
    match code:
        case "undo":
            return f"change {params['change']} undone"
        case "rename_block":
            return f"block {params['block']} of vineyard {params['vineyard']} renamed to {params['to']}"
        case "planting":
            return f"planting file of vineyard {params['vineyard']}"
        case "new_vineyard":
            return f"vineyard {params['vineyard']} made from files"
        case "demo":
            return "the demo loaded"
        case "before_journal":
            return "values that were replaced before changes were kept"
    return ""


def _clauses(written: Iterable[Written]) -> Iterable[str]:
    """What was written: things by their names, where they are few, and rows by their owner."""
    alone: dict[tuple[str, str], list[str]] = {}
    owned: dict[tuple[str, str], list[str]] = {}
    for each in written:
        for done in DONE:
            count = each[done]
            if not count:
                continue
            one = each.get("only")
            if each["table"] == f"{each['kind']}s":
                alone.setdefault((each["table"], done), []).append(each["owner"])
            else:
                rows = owned.setdefault((each["kind"], each["owner"]), [])
                thing = _thing(each["table"], count)
                rows.append(f"{thing} {one} {done}" if one else f"{count} {thing} {done}")
    for (table, done), names in alone.items():
        if len(names) <= MOST_NAMED:
            yield f"{_thing(table, len(names))} {listed(names)} {done}"
        else:
            yield f"{len(names)} {_thing(table, len(names))} {done}"
    for (kind, owner), rows in owned.items():
        yield f"{listed(rows)} {'in' if kind == 'vineyard' else 'at'} {kind} {owner}"


def _thing(table: str, count: int) -> str:
    one, many = THINGS.get(table, (table.removesuffix("s").replace("_", " "), table.replace("_", " ")))
    return one if count == 1 else many
