"""Work in processes of its own comes back in order, and ends when it is told to."""

from __future__ import annotations

import math
import os
import subprocess
import sys
import threading
import time
from functools import partial
from pathlib import Path

import pytest
from threadpoolctl import threadpool_info

from models.errors import BadInput, Problem
from service.ingest.dates import DateForm
from service.workers import Stopped, Work, Workers, WorkersLost

pytestmark = pytest.mark.slow


def test_answers_come_in_the_order_of_the_works(workers: Workers) -> None:
    told: list[int] = []
    works: list[Work[object]] = [partial(time.sleep, 0.3), partial(math.sqrt, 4.0), partial(math.sqrt, 9.0)]
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
        workers.run_each([partial(DateForm, "%Q")], lambda _: None)
    assert refused.value.problems
    assert isinstance(refused.value.problems[0], Problem)


def test_a_stop_ends_work_that_is_under_way() -> None:
    began = time.monotonic()
    with Workers(1) as workers:

        def stop(_: int) -> None:
            workers.stop()

        works: list[Work[object]] = [os.getpid, partial(time.sleep, 600)]
        with pytest.raises(Stopped):
            workers.run_each(works, stop)
    assert time.monotonic() - began < 60


def test_a_process_that_ends_is_missed_and_a_stop_after_that_is_harmless() -> None:
    with Workers(1) as workers, pytest.raises(WorkersLost):
        workers.run_each([partial(os._exit, 3)], lambda _: None)
    workers.stop()


ABANDON = """
import os
from service.workers import Workers

if __name__ == "__main__":
    workers = Workers(1)
    print(workers.run_each([os.getpid], lambda _: None)[0], flush=True)
    os._exit(9)
"""


def test_processes_end_with_the_one_that_wanted_their_work(tmp_path: Path) -> None:
    script = tmp_path / "abandon.py"
    script.write_text(ABANDON)
    root = str(Path(__file__).parents[2])
    ran = subprocess.run(
        [sys.executable, script],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": root},
        timeout=120,
    )
    assert ran.returncode == 9, ran.stderr
    for _ in range(300):
        if not is_alive(int(ran.stdout)):
            return
        time.sleep(0.1)
    raise AssertionError("the process outlives its parent")


def is_alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    # an orphan that nobody has waited for yet is dead all the same
    stat = Path(f"/proc/{process}/stat")
    return not (stat.exists() and stat.read_text().rpartition(")")[2].split()[0] == "Z")


def test_a_stop_after_the_processes_have_ended_waits_for_none_of_them() -> None:
    with Workers(1) as workers:
        workers.run_each([partial(time.sleep, 1.5)], lambda _: None)
    stopping = threading.Thread(target=workers.stop, daemon=True)
    stopping.start()
    stopping.join(10)
    assert not stopping.is_alive()


def test_a_stop_may_come_while_the_context_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both close the pipe; one that takes its time would be closed twice."""
    closing = threading.Event()
    with Workers(1) as workers:
        pipe = workers._want

        def close_slowly() -> None:
            os.close(pipe.fileno())
            closing.set()
            time.sleep(1)

        monkeypatch.setattr(pipe, "_close", close_slowly)
        stopping = threading.Thread(target=workers.stop)
        stopping.start()
        assert closing.wait(10)
    stopping.join(10)
    assert pipe.closed
