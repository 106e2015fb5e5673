"""Numbers to places in a chart."""

from __future__ import annotations

import pytest

from service.board.charts import Scale, area, path


def test_heights_are_told_from_the_top() -> None:
    assert Scale(0.0, 50.0).at(10.0) == pytest.approx(20.0)
    assert Scale(0.0, 50.0, "downward").at(10.0) == pytest.approx(80.0)


@pytest.mark.parametrize(
    ("low", "high", "labels"),
    [
        (0.0, 10.0, ["0", "2", "4", "6", "8", "10"]),
        (0.0, 1400.0, ["0", "250", "500", "750", "1000", "1250"]),
        (3.0, 3.5, ["3", "3.1", "3.2", "3.3", "3.4", "3.5"]),
    ],
)
def test_ticks_are_round_and_few(low: float, high: float, labels: list[str]) -> None:
    assert [tick.label for tick in Scale(low, high).round_ticks()] == labels


def test_a_path_breaks_where_a_value_is_missing() -> None:
    assert path([(0, 1), (1, 2), None, (3, 4)]) == "M0.00 1.00L1.00 2.00M3.00 4.00"
    assert path([None]) == ""


def test_an_area_goes_there_and_back() -> None:
    assert (
        area([(0, 1), None, (2, 1)], [(0, 5), (1, 5), (2, 6)]) == "M0.00 1.00L2.00 1.00L2.00 6.00L0.00 5.00Z"
    )
    assert area([None], [(0, 1)]) == ""
