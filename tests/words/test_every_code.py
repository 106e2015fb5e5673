"""Every code has words, and words are plain."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass
from typing import Any, get_args

import pytest

from models.bloom.forecast import BlockForecast, Status, WhyNone
from models.bloom.rule_choice import WhyRule
from models.bloom.set_aside import SetAside, WhySetAside
from models.errors import BadInput, NotEnoughData, Remedy
from models.records import HeatMethod, HeatRule
from models.stages import BLOOM_STAGES, STAGE_KEYS
from models.vineyard.block_check import WhyExposed
from models.vineyard.cautions import Caution
from models.vineyard.layout_rules import LayoutFinding, Measured, RuleCode, WhyNot
from models.vineyard.pollen_warnings import PollenWarning, Warned, WarningCode
from models.vineyard.scouting import Missed, MissedTask, Window
from models.vineyard.scouting_tasks import FirstCaps, Look, TaskKind
from models.vineyard.season_state import Standing
from service.words.cautions import caution_words
from service.words.errors import REMEDIES, Reader, error_words
from service.words.forecast import MEANINGS, SHORT_STAGES, STATUSES, why_none
from service.words.heat_rules import METHODS, rule_words, why_chosen
from service.words.layout import NOT_APPLICABLE, RULE_SOURCES, RULES, finding_words, why_exposed
from service.words.pollen_remedies import what_to_do
from service.words.pollen_warnings import SHORT, what_is_wrong
from service.words.scouting import TASK_NAMES, look_for, why_look, why_missed
from service.words.season import STANDINGS
from service.words.set_aside import why_alike, why_set_aside
from tests.words import samples
from tests.words.samples import BLOCK, DAY, LATER, members


def warned(of: Warned) -> PollenWarning:
    return PollenWarning(BLOCK, of, "act", 0.8, ((DAY, LATER),))


def missed(why: Missed) -> MissedTask:
    return MissedTask(
        block="b1",
        cultivar="dewlight",
        look=FirstCaps(),
        window=Window(DAY, LATER),
        missed=why,
        best_day=DAY,
        best_chance=0.7,
    )


# the union, one of each of its members, and how it is said
SAID: list[tuple[object, Sequence[Any], Callable[[Any], str | None]]] = [
    (WhySetAside, samples.WHY_SET_ASIDE, lambda why: why_set_aside(SetAside(2026, "b1", "full_bloom", why))),
    (WhySetAside, samples.WHY_SET_ASIDE, why_alike),
    (WhyRule, samples.WHY_RULE, why_chosen),
    (Caution, samples.CAUTIONS, caution_words),
    (Warned, samples.WARNED, lambda of: what_is_wrong(warned(of))),
    (Warned, samples.WARNED, lambda of: what_to_do(warned(of))),
    (Look, samples.LOOKS, look_for),
    (Look, samples.LOOKS, why_look),
    (Missed, samples.MISSED, lambda why: why_missed(missed(why))),
    (
        Measured,
        samples.MEASURED,
        lambda found: finding_words(LayoutFinding("several_pollinizers", "met", 1, found)),
    ),
    (WhyExposed, samples.WHY_EXPOSED, why_exposed),
]
RIDDLES = re.compile(r"in truth|hangs? on|\bbare\b|nobody looked|/v1/|POST|\{|\}", re.IGNORECASE)


@pytest.mark.parametrize(("union", "codes", "say"), SAID)
def test_every_code_of_a_union_has_a_plain_sentence_of_its_own(
    union: object, codes: Sequence[Any], say: Callable[[Any], str | None]
) -> None:
    assert {type(code) for code in codes} == members(union)
    sentences = [say(code) or "" for code in codes]
    for sentence in sentences:
        assert len(sentence) > 10
        assert not RIDDLES.search(sentence), sentence


def test_each_number_and_name_of_a_code_is_said() -> None:
    for of in samples.WARNED:
        text = f"{what_is_wrong(warned(of))} {what_to_do(warned(of))}"
        assert "b1" in text
        for name in ("source", "sources", "makers", "frosted"):
            told = getattr(of, name, ())
            for source in told if isinstance(told, tuple) else (told,):
                assert source.key in text, of


@pytest.mark.parametrize(
    ("literal", "words"),
    [
        (Status, STATUSES),
        (WarningCode, SHORT),
        (TaskKind, TASK_NAMES),
        (RuleCode, RULES),
        (RuleCode, RULE_SOURCES),
        (WhyNot, NOT_APPLICABLE),
        (HeatMethod, METHODS),
        (Standing, STANDINGS),
    ],
)
def test_every_member_of_a_literal_has_words(literal: object, words: dict[str, str]) -> None:
    assert set(words) == set(get_args(literal))
    assert len(set(words.values())) == len(words) or words is RULE_SOURCES
    assert not any(RIDDLES.search(text) for text in words.values())


def test_every_stage_and_every_reason_for_no_forecast_has_words() -> None:
    assert tuple(MEANINGS) == STAGE_KEYS
    assert tuple(SHORT_STAGES) == BLOOM_STAGES
    for why in get_args(WhyNone):
        assert "dewlight" in (why_none(BlockForecast("b1", "dewlight", "none", {}, why)) or "")
    assert why_none(BlockForecast("b1", "dewlight", "own", {})) is None


def test_every_remedy_has_words_for_every_reader_and_only_http_reads_of_requests() -> None:
    assert set(REMEDIES) == set(Remedy)
    for remedy, said in REMEDIES.items():
        assert set(said) == set(Reader)
        for reader in (Reader.PAGE, Reader.TERMINAL):
            text = error_words(NotEnoughData("there is too little", remedy=remedy), reader)
            assert text.startswith("there is too little; ")
            assert not RIDDLES.search(text), text
    told = error_words(NotEnoughData("no fit", remedy=Remedy.MAKE_FIT), Reader.HTTP)
    assert "POST /v1/fits" in told
    assert error_words(BadInput("it cannot be"), Reader.HTTP) == "it cannot be"


def test_a_heat_rule_says_every_part_in_either_unit() -> None:
    rule = HeatRule("single_sine", 10.0, 30.0, "horizontal", "02-15")
    assert rule_words(rule, us=False) == (
        "single sine above 10 °C, up to 30 °C (horizontal cutoff), from 15 February on"
    )
    assert rule_words(rule, us=True).startswith("single sine above 50 °F, up to 86 °F (")
    assert rule_words(HeatRule(), us=False) == "average above 10 °C, from the season's first day on"


# a sentence ends with a full stop, or has five words or more
SENTENCE = re.compile(r"\.$|(\S+\s+){4,}\S+")


def test_codes_carry_names_and_numbers_and_no_sentence() -> None:
    def texts(value: object) -> list[str]:
        if isinstance(value, str):
            return [value]
        if isinstance(value, tuple):
            return [text for each in value for text in texts(each)]
        if is_dataclass(value) and not isinstance(value, type):
            return [text for field in fields(value) for text in texts(getattr(value, field.name))]
        return []

    for _, codes, _ in SAID:
        assert not [text for code in codes for text in texts(code) if SENTENCE.search(text)]
