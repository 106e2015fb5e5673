"""Trips: the fewest that meet every task, held against trying every set of days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from itertools import chain, combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.errors import BadInput
from models.vineyard.scouting import BestLook, Plan, Task, Window, plan_trips
from models.vineyard.scouting_tasks import FirstCaps
from service.words.scouting import why_missed

MONDAY = dt.date(2026, 6, 1)


def day(number: int) -> dt.date:
    return MONDAY + dt.timedelta(days=number)


def task(block: str, chances: Mapping[int, float]) -> Task:
    window = Window(day(min(chances)), day(max(chances)))
    chance_on = {day(number): chance for number, chance in chances.items()}
    return Task(block, "dew", FirstCaps(), window, chance_on)


def on(first: int, last: int, chance: float = 0.5) -> dict[int, float]:
    return dict.fromkeys(range(first, last + 1), chance)


def days_of(plan: Plan) -> list[int]:
    return [(trip.date - MONDAY).days for trip in plan.trips]


def met(plan: Plan) -> list[str]:
    return sorted(planned.block for trip in plan.trips for planned in trip.tasks)


@st.composite
def cases(draw: st.DrawFn) -> list[Task]:
    per_mille = st.integers(1, 1000).map(lambda value: value / 1000)
    chances = st.dictionaries(st.integers(0, 9), per_mille, min_size=1, max_size=5)
    return [task(f"b{number}", found) for number, found in enumerate(draw(st.lists(chances, max_size=6)))]


def merit(tasks: Sequence[Task], taken: Sequence[dt.date]) -> tuple[int, int, int]:
    """Tasks met, thousandths of chance, and the sum of days, of a set of days."""
    best = [max((round(1000 * task.chance_on.get(day, 0.0)) for day in taken), default=0) for task in tasks]
    return sum(value > 0 for value in best), sum(best), sum((day - MONDAY).days for day in taken)


@pytest.mark.slow
@settings(deadline=None, max_examples=150)
@given(
    cases(),
    st.sets(st.integers(0, 6), min_size=1),
    st.integers(0, 4),
    st.one_of(st.none(), st.integers(1, 3)),
)
def test_the_plan_is_the_best_of_all_sets_of_days(
    tasks: list[Task], weekdays: set[int], first: int, max_trips: int | None
) -> None:
    plan = plan_trips(tasks, first_day=day(first), weekdays=weekdays, max_trips=max_trips)
    taken = [trip.date for trip in plan.trips]
    allowed = sorted(
        {d for task in tasks for d in task.chance_on if d >= day(first) and d.weekday() in weekdays}
    )
    assert set(taken) <= set(allowed)
    subsets = list(chain.from_iterable(combinations(allowed, size) for size in range(len(allowed) + 1)))
    possible = merit(tasks, allowed)[0]
    fewest = min(len(days) for days in subsets if merit(tasks, days)[0] == possible)
    if max_trips is None or max_trips >= fewest:
        rivals = [days for days in subsets if len(days) == fewest and merit(tasks, days)[0] == possible]
        assert merit(tasks, taken)[0] == possible
    else:
        rivals = [days for days in subsets if len(days) == max_trips]
    most = max(merit(tasks, days)[1] for days in rivals)
    earliest = min(merit(tasks, days)[2] for days in rivals if merit(tasks, days)[1] == most)
    assert len(taken) == len(rivals[0])
    assert merit(tasks, taken)[1:] == (most, earliest)
    assert sorted(met(plan) + [missed.block for missed in plan.missed]) == sorted(
        task.block for task in tasks
    )
    assert len(met(plan)) == merit(tasks, taken)[0]


def test_fewer_trips_than_a_greedy_choice() -> None:
    # Day 2 alone meets four tasks, and then two more trips are needed; days 1 and 3 meet all six.
    left, right = [{1: 0.5, 2: 0.5}] * 2 + [{1: 0.5}], [{2: 0.5, 3: 0.5}] * 2 + [{3: 0.5}]
    tasks = [task(f"b{number}", chances) for number, chances in enumerate(left + right)]
    assert days_of(plan_trips(tasks, first_day=MONDAY)) == [1, 3]


def test_each_task_is_done_on_its_likeliest_trip() -> None:
    tasks = [
        task("a", {1: 0.9}),
        task("b", {5: 0.9}),
        task("c", {1: 0.6, 5: 0.7}),
        task("d", {1: 0.8, 5: 0.8}),
    ]
    plan = plan_trips(tasks, first_day=MONDAY)
    assert [[each.block for each in trip.tasks] for trip in plan.trips] == [["a", "d"], ["b", "c"]]
    assert plan.trips[1].tasks[1].chance == 0.7
    assert plan.trips[0].tasks[0].window == Window(day(1), day(1))


def test_among_equal_plans_the_likeliest_then_the_earliest() -> None:
    assert days_of(plan_trips([task("a", {1: 0.5, 2: 0.8, 3: 0.8})], first_day=MONDAY)) == [2]


def test_no_trip_before_the_first_day() -> None:
    plan = plan_trips([task("a", on(0, 4)), task("b", on(0, 1))], first_day=day(2))
    assert days_of(plan) == [2]
    (missed,) = plan.missed
    assert (missed.block, missed.best_day) == ("b", None)
    assert why_missed(missed) == "Too late this season: its days are over (from 1 June to 2 June)."
    assert plan_trips([task("b", on(0, 1))], first_day=day(15)).missed
    assert not plan_trips([task("b", on(0, 1))], first_day=day(16)).missed


def test_weekdays_and_what_they_miss() -> None:
    tasks = [task("a", on(0, 6)), task("b", {3: 0.5, 4: 0.6, 5: 0.6})]
    plan = plan_trips(tasks, first_day=MONDAY, weekdays=(0, 2))
    assert days_of(plan) == [0]
    (missed,) = plan.missed
    assert (missed.block, missed.best_day) == ("b", day(4))
    assert why_missed(missed) == (
        "The days left for it (from 4 June to 6 June) hold no Monday or Wednesday; its best day is Friday 5 June "
        "(60 % chance that it is the right time)."
    )


def test_a_limit_on_trips_keeps_the_likeliest_tasks() -> None:
    tasks = [task("a", {1: 0.5}), task("b", {1: 0.5}), task("c", {8: 0.9}), task("d", {4: 0.3})]
    plan = plan_trips(tasks, first_day=MONDAY, max_trips=2)
    assert (days_of(plan), met(plan)) == ([1, 8], ["a", "b", "c"])
    assert why_missed(plan.missed[0]).startswith("2 trips leave no day for it; its best day is Friday 5 June")
    assert days_of(plan_trips(tasks, first_day=MONDAY, max_trips=1)) == [1]
    assert plan_trips(tasks, first_day=MONDAY, max_trips=3) == plan_trips(tasks, first_day=MONDAY)


def test_done_tasks_vanish_and_change_the_plan() -> None:
    tasks = [task("a", {1: 0.5}), task("b", {8: 0.9})]
    assert days_of(plan_trips(tasks, first_day=MONDAY)) == [1, 8]
    plan = plan_trips(tasks, first_day=MONDAY, done={("a", "first_caps"), ("b", "set_count")})
    assert (days_of(plan), plan.missed) == ([8], ())
    assert plan_trips([], first_day=MONDAY) == Plan((), ())


def test_the_same_question_has_the_same_answer() -> None:
    tasks = [task(f"b{number}", on(number % 7, number % 7 + 4)) for number in range(30)]
    plan = plan_trips(tasks, first_day=MONDAY)
    assert all(plan_trips(tasks, first_day=MONDAY) == plan for _ in range(3))
    assert days_of(plan_trips(tasks[::-1], first_day=MONDAY)) == days_of(plan)


@pytest.mark.parametrize(
    ("weekdays", "max_trips", "where"),
    [((), None, "weekdays"), ((0, 7), None, "weekdays"), ((0,), 0, "max_trips")],
)
def test_what_is_refused(weekdays: tuple[int, ...], max_trips: int | None, where: str) -> None:
    with pytest.raises(BadInput) as caught:
        plan_trips([task("a", on(0, 1))], first_day=MONDAY, weekdays=weekdays, max_trips=max_trips)
    assert caught.value.problems[0].where == where


@st.composite
def equal_cases(draw: st.DrawFn) -> tuple[list[Task], dict[tuple[str, dt.date], float]]:
    """Tasks with chances that are often alike, and what a look at each block and day teaches."""
    chances = st.dictionaries(st.integers(0, 7), st.sampled_from([0.5, 1.0]), min_size=1, max_size=6)
    tasks = [
        task(f"b{number}", found)
        for number, found in enumerate(draw(st.lists(chances, min_size=1, max_size=4)))
    ]
    gain = st.integers(0, 9).map(lambda value: value / 10)
    return tasks, {(each.block, day): draw(gain) for each in tasks for day in each.chance_on}


def told(
    tasks: Sequence[Task], narrows: Mapping[tuple[str, dt.date], float], taken: Sequence[dt.date]
) -> int:
    """Thousandths of a day that a set of days teaches, each task on a day that suits it best."""
    total = 0
    for each in tasks:
        best = max((each.chance_on.get(day, 0.0) for day in taken), default=0.0)
        days = [day for day in taken if best > 0 and each.chance_on.get(day, 0.0) == best]
        total += max((round(1000 * narrows[each.block, day]) for day in days), default=0)
    return total


@pytest.mark.slow
@settings(deadline=None, max_examples=100)
@given(equal_cases(), st.one_of(st.none(), st.integers(1, 2)))
def test_what_looks_teach_orders_equal_plans_and_drops_no_task(
    case: tuple[list[Task], dict[tuple[str, dt.date], float]], max_trips: int | None
) -> None:
    tasks, narrows = case
    plain = plan_trips(tasks, first_day=MONDAY, max_trips=max_trips)
    plan = plan_trips(tasks, first_day=MONDAY, max_trips=max_trips, narrows=narrows)
    taken = [trip.date for trip in plan.trips]
    assert len(taken) == len(plain.trips)
    most = merit(tasks, [trip.date for trip in plain.trips])
    assert merit(tasks, taken)[1] == most[1]
    if max_trips is None:
        assert met(plan) == met(plain)
    rivals = [
        days
        for days in combinations(sorted({day for each in tasks for day in each.chance_on}), len(taken))
        if merit(tasks, days)[1] == most[1] and (max_trips is not None or merit(tasks, days)[0] == most[0])
    ]
    if max_trips is None:
        best = max(told(tasks, narrows, days) for days in rivals)
        assert told(tasks, narrows, taken) == best
        earliest = min(merit(tasks, days)[2] for days in rivals if told(tasks, narrows, days) == best)
        assert merit(tasks, taken)[2] == earliest
    for trip in plan.trips:
        for planned in trip.tasks:
            assert planned.narrows_days == narrows[planned.block, trip.date]


def test_the_best_look_now_is_that_of_the_first_day_and_not_told_where_it_teaches_little() -> None:
    tasks = [task("a", on(3, 4)), task("b", on(3, 4))]
    narrows = {("a", day(0)): 0.2, ("b", day(0)): 0.3, ("a", day(3)): 0.9}
    best = plan_trips(tasks, first_day=MONDAY, narrows=narrows).best_look
    assert best == BestLook("b", 0.3)
    assert plan_trips(tasks, first_day=MONDAY).best_look is None
    assert plan_trips(tasks, first_day=MONDAY, narrows={("a", day(0)): 0.04}).best_look is None
