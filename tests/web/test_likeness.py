"""Which known name was meant."""

from __future__ import annotations

import pytest

from service.likeness import nearest

BLOCKS = ("west-1", "west-2", "east-1", "middle-10")


@pytest.mark.parametrize(
    ("name", "meant"),
    [("wst-1", "west-1"), ("west1", "west-1"), ("midle-10", "middle-10"), ("west-9", None), ("north", None)],
)
def test_the_one_that_is_most_like_it_and_none_where_two_are(name: str, meant: str | None) -> None:
    assert nearest(name, BLOCKS) == meant


def test_of_nothing_nothing() -> None:
    assert nearest("west-1", ()) is None
