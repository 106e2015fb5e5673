"""Work in processes of its own comes back in order, and ends when it is told to."""

from __future__ import annotations

import math
import os
import threading
import time
from functools import partial

import pytest
from threadpoolctl import threadpool_info

from models.errors import BadInput, Problem
from service.ingest.dates import check_date_format
from service.workers import Stopped, Workers, WorkersLost


def test_answers_come_in_the_order_of_the_works(workers: Workers) -> None:
    told: list[int] = []
    works = [partial(time.sleep, 0.3), partial(math.sqrt, 4.0), partial(math.sqrt, 9.0)]
    assert workers.run_each(works, told.append) == [None, 2.0, 3.0]
    assert told[-1] == 3
    assert told == sorted(told)
    assert workers.run_each([], told.append) == []


def test_work_is_done_in_another_process_on_one_thread(workers: Workers) -> None:
    (process,) = workers.run_each([os.getpid], lambda _: None)
    assert process != os.getpid()
    (libraries,) = workers.run_each([threadpool_info], lambda _: None)
    threads = [library["num_threads"] for library in libraries if library["user_api"] == "blas"]
    assert threads
    assert set(threads) == {1}


def test_an_error_comes_back_with_all_that_it_says(workers: Workers) -> None:
    with pytest.raises(BadInput) as refused:
        workers.run_each([partial(check_date_format, "%Q")], lambda _: None)
    assert refused.value.problems
    assert isinstance(refused.value.problems[0], Problem)


def test_a_stop_ends_work_that_is_under_way() -> None:
    began = time.monotonic()
    with Workers(1) as workers:

        def stop(_: int) -> None:
            workers.stop()

        with pytest.raises(Stopped):
            workers.run_each([os.getpid, partial(time.sleep, 600)], stop)
    assert time.monotonic() - began < 60


def test_a_process_that_ends_is_missed() -> None:
    with Workers(1) as workers, pytest.raises(WorkersLost):
        workers.run_each([partial(os._exit, 3)], lambda _: None)


def test_a_stop_after_the_processes_have_ended_waits_for_none_of_them() -> None:
    with Workers(1) as workers:
        workers.run_each([partial(time.sleep, 1.5)], lambda _: None)
    stopping = threading.Thread(target=workers.stop, daemon=True)
    stopping.start()
    stopping.join(10)
    assert not stopping.is_alive()
