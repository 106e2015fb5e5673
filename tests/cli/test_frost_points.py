"""What a terminal says of frost."""

from __future__ import annotations

import datetime as dt

from models.vineyard.frost import BlockFrost, FrostNight
from service.cli.tables import frost_points
from service.usecases.frost import VineyardFrost

NIGHT = FrostNight(dt.date(2026, 4, 20), -2.5)


def frost(*blocks: BlockFrost) -> VineyardFrost:
    return VineyardFrost(0.0, {block.block: block for block in blocks})


def test_the_worst_chance_and_each_night_once() -> None:
    found = frost(
        BlockFrost("b1", 0.1, 0.0, True, (NIGHT,)),
        BlockFrost("b2", 0.25, 0.0, True, (NIGHT,)),
        BlockFrost("b3", None, None, False, ()),
    )
    assert frost_points(found, us=False) == [
        "up to 25 % chance of a night at or below 0.0 °C before bloom ends (b2)",
        "frost night of 20 April: -2.5 °C",
    ]
    assert frost_points(found, us=True)[1] == "frost night of 20 April: 28 °F"


def test_no_frost() -> None:
    (said,) = frost_points(frost(BlockFrost("b1", 0.0, 0.0, True, ())), us=True)
    assert said == "no night at or below 32 °F since budbreak, and none likely before bloom ends"
