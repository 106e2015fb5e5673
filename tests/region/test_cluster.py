"""The same region on a Dask cluster: the same file, also where a worker is lost on the way."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
import xarray as xr
from distributed import LocalCluster

from models.grid import region_question
from service.usecases.region import RegionTask, plan_region, run_region, write_region
from service.workers import ClusterWorkers, NoCluster, Stopped, Workers, workers_for
from tests.region.grids import write_cells
from tests.region.test_region_command import SAVED

pytestmark = [
    pytest.mark.slow,
    # a worker that is ended leaves its sockets to the garbage collector
    pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning"),
]


@pytest.fixture(scope="module")
def cluster() -> Iterator[LocalCluster]:
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as made:  # type: ignore[no-untyped-call]
        yield made


def planned(folder: Path, name: str) -> RegionTask:
    grid = folder / "grid.nc"
    if not grid.exists():
        write_cells(grid)
    question = region_question(SAVED.fit, seasons=[2002, 2003, 2004])
    return plan_region([grid], question, folder / name, tile_values=1461 * 4)


def written(task: RegionTask, out: Path) -> xr.Dataset:
    write_region(task, out, about={})
    with xr.open_dataset(out) as file:
        return file.load()


def test_a_cluster_writes_what_this_machine_writes(cluster: LocalCluster, tmp_path: Path) -> None:
    here = planned(tmp_path, "here.nc")
    with Workers(1) as workers:
        run_region(here, workers, lambda *_: None)
    there = planned(tmp_path, "there.nc")
    shown: list[float] = []
    with workers_for(cluster.scheduler_address) as workers:
        assert isinstance(workers, ClusterWorkers)
        assert workers.count == 2
        run_region(there, workers, lambda share, _: shown.append(share))
    assert shown == sorted(shown)
    assert shown[-1] == 1.0
    xr.testing.assert_identical(written(there, tmp_path / "there.nc"), written(here, tmp_path / "here.nc"))


def test_a_lost_worker_costs_only_its_pieces(cluster: LocalCluster, tmp_path: Path) -> None:
    here, there = planned(tmp_path, "here.nc"), planned(tmp_path, "there.nc")
    with Workers(1) as workers:
        run_region(here, workers, lambda *_: None)
    ended: list[int] = []

    def tell(share: float, _: str) -> None:
        if share > 0 and not ended:
            pid = next(iter(cluster.workers.values())).pid
            os.kill(pid, signal.SIGKILL)
            ended.append(pid)

    with ClusterWorkers(cluster.scheduler_address) as workers:
        run_region(there, workers, tell)
    assert ended
    xr.testing.assert_identical(written(there, tmp_path / "there.nc"), written(here, tmp_path / "here.nc"))


def test_work_on_a_cluster_can_be_stopped(cluster: LocalCluster, tmp_path: Path) -> None:
    task = planned(tmp_path, "out.nc")
    with ClusterWorkers(cluster.scheduler_address) as workers, pytest.raises(Stopped):
        run_region(task, workers, lambda share, _: workers.stop() if share > 0 else None)


def test_a_cluster_that_is_not_there() -> None:
    with pytest.raises(NoCluster, match="no scheduler answers"):
        workers_for("tcp://127.0.0.1:9")
