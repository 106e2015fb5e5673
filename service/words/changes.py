"""What a change did, as a sentence."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from service.words.language import N_, _
from service.words.plain import listed, sentence

THINGS = {
    "blocks": (N_("block"), N_("blocks")),
    "bloom_dates": (N_("bloom log date"), N_("bloom log dates")),
    "crop_counts": (N_("crop count"), N_("crop counts")),
    "cultivars": (N_("cultivar"), N_("cultivars")),
    "fit_in_use": (N_("fit in use"), N_("fits in use")),
    "fits": (N_("fit"), N_("fits")),
    "frosted_blocks": (N_("frost mark"), N_("frost marks")),
    "news_readers": (N_("reader of news"), N_("readers of news")),
    "outlooks": (N_("day of an outlook"), N_("days of an outlook")),
    "set_counts": (N_("set count"), N_("set counts")),
    "stations": (N_("station"), N_("stations")),
    "temperatures": (N_("day of temperatures"), N_("days of temperatures")),
    "vineyards": (N_("vineyard"), N_("vineyards")),
    "visits": (N_("visit"), N_("visits")),
}
DONE = {"added": N_("{things} added"), "replaced": N_("{things} replaced"), "deleted": N_("{things} deleted")}
MOST_NAMED = 3

Written = Mapping[str, Any]


def what_changed(code: str, params: Mapping[str, Any]) -> str:
    """A sentence for a change's code, its parameters, and what it ``written``."""
    about = _about(code, params)
    rows = "; ".join(_clauses(params.get("written", ())))
    return sentence(f"{about}: {rows}" if about and rows else about or rows or _("nothing changed")) + "."


def rows_told(written: Iterable[Written]) -> dict[str, int]:
    """How many rows of what were written: {"visits added": 3}."""
    told: dict[str, int] = {}
    for each in written:
        for done in DONE:
            if each[done]:
                what = f"{_words_of(each['table'])[1]} {done}"
                told[what] = told.get(what, 0) + each[done]
    return told


def _about(code: str, params: Mapping[str, Any]) -> str:
    match code:
        case "undo":
            return _("change {change} undone", change=params["change"])
        case "rename_block":
            return _("block {block} of vineyard {vineyard} renamed to {to}", **params)
        case "planting":
            return _("planting file of vineyard {vineyard}", vineyard=params["vineyard"])
        case "new_vineyard":
            return _("vineyard {vineyard} made from files", vineyard=params["vineyard"])
        case "demo":
            return _("the demo loaded")
        case "before_journal":
            return _("values that were replaced before changes were kept")
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
                rows.append(_(DONE[done], things=f"{thing} {one}" if one else f"{count} {thing}"))
    for (table, done), names in alone.items():
        few = listed(names) if len(names) <= MOST_NAMED else ""
        thing = _thing(table, len(names))
        yield _(DONE[done], things=f"{thing} {few}" if few else f"{len(names)} {thing}")
    for (kind, owner), rows in owned.items():
        where = (
            _("in vineyard {name}", name=owner) if kind == "vineyard" else _("at station {name}", name=owner)
        )
        yield f"{listed(rows)} {where}"


def _thing(table: str, count: int) -> str:
    one, many = _words_of(table)
    return _(one if count == 1 else many)


def _words_of(table: str) -> tuple[str, str]:
    return THINGS.get(table, (table.removesuffix("s").replace("_", " "), table.replace("_", " ")))
