"""How many rows of what there are, as a person counts them."""

from __future__ import annotations

from collections.abc import Mapping

ODD_NOUNS = {
    "change_rows": "changed row",
    "fit_in_use": "fit choice",
    "frosted_blocks": "frosted block",
    "key_growers": "key-to-grower link",
    "news_readers": "reader of news",
    "temperatures": "weather day",
}
ODD_PLURALS = {"reader of news": "readers of news"}


def rows_told(rows: Mapping[str, int]) -> list[str]:
    """Each table with its number of rows, as in "3 vineyards"; those without any are left out."""
    return [f"{count} {_noun(table, count)}" for table, count in rows.items() if count]


def _noun(table: str, count: int) -> str:
    noun = ODD_NOUNS.get(table, table.replace("_", " ").removesuffix("s"))
    return noun if count == 1 else ODD_PLURALS.get(noun, f"{noun}s")
