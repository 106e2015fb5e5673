"""Fits as documents: the same numbers back, and the model's own fits pass the check of shared ones."""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import json
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from models.bloom.rule_choice import NearestToDefault, TooFewToChoose, WhyRule
from models.bloom.search import Search
from models.bloom.set_aside import FarFromOthers, OutOfOrder, SetAside
from models.bloom.site import Site
from models.bloom.thresholds import Fit, fit_thresholds
from models.records import DailyTemperatures, HeatRule, StageInterval
from service.usecases.fit_documents import ID_DIGITS, FitDocument, SavedFit, from_document, to_document
from service.usecases.shared_fits import check_document, from_another_grower
from service.words.set_aside import why_set_aside
from tests.bloom.noted import logged


def day(of_may: int) -> dt.date:
    return dt.date(2013, 5, of_may)


def a_site(seasons: int, *, cultivars: int = 2) -> Site:
    """A site whose springs warm up a bit differently every year."""
    dates = np.arange(np.datetime64("2010-01-01"), np.datetime64(f"{2010 + seasons}-01-01"))
    day = (dates - dates.astype("datetime64[Y]")).astype(np.int64)
    year = dates.astype("datetime64[Y]").astype(np.int64) - 40
    mean = 12 - 12 * np.cos(2 * np.pi * day / 365) + 0.7 * np.sin(3.0 * year)
    temperatures = DailyTemperatures(dates, mean - 5, mean + 5)
    seen = [
        StageInterval(2010 + season, f"c{cultivar}", f"b{cultivar}", stage, date - dt.timedelta(days=3), date)
        for season in range(seasons)
        for cultivar in range(cultivars)
        for place, stage in enumerate(("bloom_start", "full_bloom"))
        for date in [dt.date(2010 + season, 5, 15 + 2 * cultivar + 6 * place - season % 3)]
    ]
    return Site("hill", 40.0, temperatures, logged(seen))


def a_fit(seasons: int = 4, *, cultivars: int = 2) -> Fit:
    stages = ("bloom_start", "full_bloom")
    return fit_thresholds([a_site(seasons, cultivars=cultivars)], stages=stages, rule=HeatRule())


def parts(value: Any) -> Any:
    """Arrays as bytes, so that equal means equal to the last bit."""
    if isinstance(value, np.ndarray):
        return value.dtype.str, value.shape, value.tobytes()
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: parts(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, tuple):
        return tuple(parts(each) for each in value)
    return value


def test_every_number_comes_back_to_the_last_bit() -> None:
    saved = SavedFit(a_fit(), ("hill",), exclude_seasons=(2011,), running_seasons=(2015,))
    back = from_document(json.loads(json.dumps(to_document(saved))))
    assert parts(back) == parts(saved)
    assert back.id == saved.id


def test_another_content_has_another_identifier() -> None:
    saved = SavedFit(a_fit(), ("hill",))
    nudged = dataclasses.replace(saved.fit, heat_a_day=np.nextafter(saved.fit.heat_a_day, np.inf))
    others = [
        dataclasses.replace(saved, fit=nudged),
        dataclasses.replace(saved, imported=True),
        dataclasses.replace(saved, vineyards=("dale",)),
    ]
    assert len({saved.id, *(other.id for other in others)}) == 4


def test_a_fit_that_did_not_settle_stays_one_and_others_keep_the_identifier_they_had() -> None:
    saved = SavedFit(a_fit(), ("hill",))
    assert "converged" not in to_document(saved)
    unsettled = dataclasses.replace(saved, fit=dataclasses.replace(saved.fit, converged=False))
    assert unsettled.id != saved.id
    told = FitDocument.model_validate(json.loads(json.dumps(to_document(unsettled))))
    assert not from_another_grower(told).fit.converged


@pytest.mark.parametrize(("seasons", "cultivars"), [(1, 1), (1, 3), (2, 1), (9, 4)])
def test_the_models_own_fits_pass_as_shared_ones(seasons: int, cultivars: int) -> None:
    saved = SavedFit(a_fit(seasons, cultivars=cultivars), ("hill",))
    told = FitDocument.model_validate(to_document(saved))
    check_document(told)
    taken = from_another_grower(told)
    assert {said.site for said in taken.fit.season_evidence} == {"another grower's hill"}
    again = from_another_grower(FitDocument.model_validate(to_document(taken)))
    assert again.id == taken.id  # handed on once more, it is still the same fit


SLIPS = (
    SetAside(2012, "b1", "full_bloom", FarFromOthers(-12.4)),
    SetAside(2013, "b1", "bloom_start", OutOfOrder(day(5), True, "full_bloom", day(3), False)),
)


def test_reasons_come_back_as_codes() -> None:
    saved = SavedFit(dataclasses.replace(a_fit(), set_aside=SLIPS), ("hill",))
    document = json.loads(json.dumps(to_document(saved)))
    assert document["set_aside"][0]["why"] == {"days_later": -12.4, "code": "far_from_others"}
    back = from_document(document)
    assert (back.fit.set_aside, back.id) == (SLIPS, saved.id)
    assert from_another_grower(FitDocument.model_validate(document)).fit.set_aside == SLIPS


@pytest.mark.parametrize(
    "why",
    [TooFewToChoose(5, 8), NearestToDefault(5, 72, 31, 0.02, 0.13, None), "nearest, as older fits put it"],
)
def test_why_the_rule_was_chosen_comes_back(why: WhyRule | str) -> None:
    saved = SavedFit(a_fit(), ("hill",), search=Search(a_fit().rule, why, ()))
    document = json.loads(json.dumps(to_document(saved)))
    back = from_document(document)
    assert back.search is not None
    assert (back.search.why, back.id) == (why, saved.id)
    document["search"]["why"] = {"code": "no_such_reason"}
    with pytest.raises(ValidationError, match="why"):
        from_document(document)


def test_a_document_whose_reasons_are_texts_keeps_them_and_its_identifier() -> None:
    document = to_document(SavedFit(a_fit(), ("hill",)))
    text = "about 12 days earlier than its cultivar and season say"
    document["set_aside"] = [{"season": 2012, "block": "b1", "stage": "full_bloom", "why": text}]
    plain = json.dumps(document, sort_keys=True)
    back = from_document(json.loads(plain))
    assert back.fit.set_aside == (SetAside(2012, "b1", "full_bloom", text),)
    assert why_set_aside(back.fit.set_aside[0]) == text
    assert back.id == hashlib.sha256(plain.encode()).hexdigest()[:ID_DIGITS]


@pytest.mark.parametrize(
    "why",
    [
        {"code": "unheard_of"},
        {"code": "far_from_others", "days_later": float("inf")},
        {"code": "no_other_season", "cultivar": "a\x00b"},
        {"code": "before_heat", "heat_from": "2012-13-01"},
    ],
)
def test_a_reason_that_is_none_is_refused(why: dict[str, Any]) -> None:
    document = to_document(SavedFit(a_fit(), ("hill",)))
    document["set_aside"] = [{"season": 2012, "block": "b1", "stage": "full_bloom", "why": why}]
    with pytest.raises(ValidationError, match="why"):
        FitDocument.model_validate(document)
