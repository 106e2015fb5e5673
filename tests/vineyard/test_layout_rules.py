"""Published layout rules, on layouts drawn vine by vine: S has viable pollen, p is pistillate, . is an empty place."""

from __future__ import annotations

import pytest

from models.records import Block, Cultivar, FlowerType, Planting
from models.vineyard.layout_rules import LayoutFinding, RowsAlong, layout_findings, longest_run_without
from models.vineyard.vine_counts import who_serves_whom
from service.words.layout import RULE_SOURCES, finding_words

KINDS = {
    "p": Cultivar("dew", "Dewlight", FlowerType.PISTILLATE, viable_pollen=False),
    "S": Cultivar("tinderling", "Tinderling", FlowerType.PERFECT, viable_pollen=True),
    "T": Cultivar("tarn", "Tarn Bell", FlowerType.PERFECT, viable_pollen=True),
    "d": Cultivar("dud", "Pale Lantern", FlowerType.PERFECT, viable_pollen=False),
}

FOURTH_ROW, THIRD_OF_THIRD, SHARE, SEVERAL, EIGHT, THIRD, FOURTH = range(7)


def drawn(*rows: str, along: RowsAlong = "x", reach_m: float = 15.0) -> Planting:
    """Rows 4 m apart, vines 6 m apart."""
    blocks = []
    for row, vines in enumerate(rows):
        for vine, kind in enumerate(vines):
            if kind != ".":
                x_m, y_m = (6.0 * vine, 4.0 * row) if along == "x" else (4.0 * row, 6.0 * vine)
                blocks.append(Block(f"r{row}v{vine}", KINDS[kind].key, x_m, y_m))
    return Planting(tuple(blocks), {kind.key: kind for kind in KINDS.values()}, reach_m)


def findings(planting: Planting, along: RowsAlong | None = "x") -> tuple[LayoutFinding, ...]:
    return layout_findings(planting, who_serves_whom(planting), rows_along=along)


def verdicts(*rows: str) -> dict[int, tuple[str, float | None]]:
    return {place: (each.verdict, each.measured) for place, each in enumerate(findings(drawn(*rows)))}


# Georgia Muscadine Production Guide, section 8 (read): every fourth row, counted from the outside row.
@pytest.mark.parametrize(
    ("rows", "verdict", "measured"),
    [
        (("SSSS", "pppp", "pppp", "pppp", "SSSS", "pppp", "pppp", "pppp"), "met", 3),
        (("SSSS", "pppp", "pppp", "pppp", "pppp", "SSSS"), "not_met", 4),
        (("pppp", "SSSS", "pppp"), "not_met", 1),
        (("pppp", "pppp", "SSSp"), "met", 2),
        (("SSpp", "pppp"), "not_met", 2),
        (("pppp", "dddd"), "not_met", 2),
    ],
)
def test_every_fourth_row(rows: tuple[str, ...], verdict: str, measured: float) -> None:
    assert verdicts(*rows)[FOURTH_ROW] == (verdict, measured)


# The same guide, section 8 (read): every third vine in every third row.
@pytest.mark.parametrize(
    ("rows", "verdict", "measured"),
    [
        (("pppppp", "SppSpp", "pppppp", "pppppp", "ppSppS"), "met", 2),
        (("SppSpp", "pppppp", "pppppp", "pppppp", "SppSpp"), "not_met", 2),
        (("SpppSp", "pppppp"), "not_met", 3),
        (("S.pp.S", "pppppp"), "met", 2),
        (("pppppp", "pppp"), "not_met", 6),
    ],
)
def test_every_third_vine_in_every_third_row(rows: tuple[str, ...], verdict: str, measured: float) -> None:
    assert verdicts(*rows)[THIRD_OF_THIRD] == (verdict, measured)


# The same guide, section 6 (read): one eighth to one quarter of the vineyard, and several pollinizers.
@pytest.mark.parametrize(
    ("row", "verdict", "measured"),
    [
        ("Sppppppp", "met", 1 / 8),
        ("Spppppppp", "not_met", 1 / 9),
        ("SppS", "met", 1 / 2),
        ("ppdd", "not_met", 0),
    ],
)
def test_share_of_the_vineyard(row: str, verdict: str, measured: float) -> None:
    found = findings(drawn(row))[SHARE]
    assert found.verdict == verdict
    assert found.measured == pytest.approx(measured)
    assert ("more than the rule asks for" in finding_words(found)) == (measured > 1 / 4)


def test_several_pollinizers() -> None:
    assert verdicts("SpTp")[SEVERAL] == ("met", 2)
    assert verdicts("SpSp")[SEVERAL] == ("not_met", 1)
    assert verdicts("Spdp")[SEVERAL] == ("not_met", 1)


# Mississippi State University Extension (read): one vine serves eight.
def test_one_serves_eight() -> None:
    block = Block("s", "tinderling", 0.0, 0.0, vines=2)
    kinds = {kind.key: kind for kind in KINDS.values()}

    def with_pistillate(vines: int, x_m: float = 10.0) -> LayoutFinding:
        planting = Planting((block, Block("p", "dew", x_m, 0.0, vines)), kinds)
        return layout_findings(planting, who_serves_whom(planting))[EIGHT]

    assert (with_pistillate(16).verdict, with_pistillate(16).measured) == ("met", 8)
    assert (with_pistillate(17).verdict, with_pistillate(17).measured) == ("not_met", 9)
    assert (with_pistillate(3, x_m=99.0).verdict, with_pistillate(3, x_m=99.0).measured) == ("not_met", None)
    assert finding_words(with_pistillate(3, x_m=99.0)) == "3 pistillate vines have no source in reach."


# In a single row: every third vine (the same, read), every fourth (another extension office, read).
@pytest.mark.parametrize(
    ("row", "third", "fourth", "measured"),
    [("SppSpp", "met", "met", 2), ("SpppSp", "not_met", "met", 3), ("Spppp", "not_met", "not_met", 4)],
)
def test_single_row(row: str, third: str, fourth: str, measured: float) -> None:
    found = verdicts(row)
    assert found[THIRD] == (third, measured)
    assert found[FOURTH] == (fourth, measured)
    assert found[FOURTH_ROW] == found[THIRD_OF_THIRD] == ("does_not_apply", None)


def test_rules_on_rows_need_rows() -> None:
    several = findings(drawn("Sppp", "pppp"))
    assert {several[THIRD].verdict, several[FOURTH].verdict} == {"does_not_apply"}
    unknown = findings(drawn("SppS"), along=None)
    for place in (FOURTH_ROW, THIRD_OF_THIRD, THIRD, FOURTH):
        assert (unknown[place].verdict, unknown[place].measured) == ("does_not_apply", None)
    assert unknown[SHARE].verdict == "met"


def test_rows_may_run_either_way_and_hold_blocks_of_several_vines() -> None:
    rows = ("SSSS", "pppp", "pppp", "pppp", "pppp")
    assert findings(drawn(*rows, along="y"), "y") == findings(drawn(*rows), "x")
    kinds = {kind.key: kind for kind in KINDS.values()}
    blocks = (Block("b", "dew", 9.0, 0.0, vines=3), Block("a", "tinderling", 0.0, 0.0))
    assert findings(Planting(blocks, kinds))[FOURTH].measured == 3
    assert verdicts("SppdS")[FOURTH] == ("met", 3)  # a vine without viable pollen is no source


def test_without_pistillate_vines_no_rule_applies_and_each_rule_names_its_source() -> None:
    assert {each.verdict for each in findings(drawn("SSS", "SSS"))} == {"does_not_apply"}
    assert [RULE_SOURCES[each.rule].split(",")[0] for each in findings(drawn("Spp"))] == [
        *["Georgia Muscadine Production Guide"] * 4,
        *["Mississippi State University Extension"] * 2,
        "another extension office",
    ]


def test_longest_run_without() -> None:
    assert longest_run_without([]) == 0
    assert longest_run_without([True, False, False, True, False]) == 2
