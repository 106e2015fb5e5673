"""Bloom of a vineyard as a whole, from draws that are laid out by hand."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
import xarray as xr

from models.errors import NotEnoughData
from models.vineyard.whole_bloom import whole_bloom

STAGES = ["bloom_start", "full_bloom", "bloom_end"]


def draws(*blocks: list[list[float]]) -> xr.Dataset:
    """Each block: bloom start and end by draw."""
    day = np.array([[[start, (start + end) // 2, end] for start, end in block] for block in blocks])
    return xr.Dataset(
        {"day": (("block", "draw", "stage"), day)},
        coords={"block": [f"b{number}" for number in range(len(blocks))], "stage": STAGES},
        attrs={"season_start": "2026-01-01"},
    )


def test_the_first_block_opens_it_the_last_one_ends_it_and_days_between_may_be_free() -> None:
    found = whole_bloom(draws([[10, 12], [11, 13]], [[15, 16], [16, 18]]), interval=0.8)
    date = dt.date(2026, 1, 1)
    assert (found.first.low, found.first.high) == (date + dt.timedelta(10), date + dt.timedelta(11))
    assert (found.last.low, found.last.high) == (date + dt.timedelta(16), date + dt.timedelta(18))
    chances = {(each.date - date).days: each.chance for each in found.days}
    assert chances == {10: 0.5, 11: 1, 12: 1, 13: 0.5, 15: 0.5, 16: 1, 17: 0.5, 18: 0.5}


def test_blocks_without_a_forecast_are_left_out() -> None:
    nan = float("nan")
    with_one = whole_bloom(draws([[10, 12], [11, 13]], [[nan, nan], [nan, nan]]), interval=0.8)
    assert with_one == whole_bloom(draws([[10, 12], [11, 13]]), interval=0.8)
    with pytest.raises(NotEnoughData):
        whole_bloom(draws([[nan, nan], [nan, nan]]), interval=0.8)
