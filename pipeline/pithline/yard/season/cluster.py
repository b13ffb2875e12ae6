"""Where the work is done: processes of this machine, or a dask scheduler that is already running."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING, Protocol

from pithline.errors import InputError
from pithline.yard.season.work import Job, Result, work

if TYPE_CHECKING:
    from distributed import Client

Do = Callable[[Job], Result]
ANSWER_SECONDS = 15
MEMORY_SHARE = 0.8
MEMORY_MOST = 2 * 2**30
LOST_SECONDS = 180.0
TICK = 0.2
DEATHS = 2
"""A log whose worker died this often and once more is reported, not tried again."""
ENVIRONMENT = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1", "NUMBA_NUM_THREADS": "1"}


class Workers(Protocol):
    """Whoever does jobs."""

    def results(self, jobs: Sequence[Job]) -> Iterator[tuple[Job, Result]]:
        """Every job's result as it comes."""
        ...


class Cluster:
    """A dask scheduler and its workers, begun (or called on) when the first job is there, and kept until closed.

    Parameters
    ----------
    address : str or None
        Of a running scheduler; None: processes of this machine, one thread each, memory bounded.
    count : int or None
        Local processes; None: one a core.
    do : callable
        What a worker does with a job.

    Raises
    ------
    InputError
        From `results`, if the scheduler does not answer or has no worker.
    """

    def __init__(self, address: str | None = None, count: int | None = None, do: Do = work) -> None:
        self.address, self.count, self.do = address, count, do
        self._open = ExitStack()
        self._client: Client | None = None

    def __enter__(self) -> Cluster:
        return self

    def __exit__(self, *what: object) -> None:
        self._open.close()

    def results(self, jobs: Sequence[Job]) -> Iterator[tuple[Job, Result]]:
        """Every job's results as they come; a log whose workers died even when it was alone gets that as its result."""
        if self._client is None:
            self._client = self._open.enter_context(_connect(self.address, self.count))
        suspects = []
        for job, found in _results(self._client, jobs, self.do):
            if found is None:  # this job, or another that waited on the same worker
                suspects.append(job)
            else:
                yield job, found
        for suspect in suspects:
            for job, found in _results(self._client, [suspect], self.do):
                why = f"{job.log}: its worker died {DEATHS + 1} times, likely out of memory; thin the scan or give --workers 1."
                yield job, Result(None, why) if found is None else found


def _results(client: Client, jobs: Sequence[Job], do: Do) -> Iterator[tuple[Job, Result | None]]:
    """Results as they come, None for a job that was on a dying worker too often."""
    from distributed import as_completed

    futures = [client.submit(do, job, pure=False) for job in jobs]
    by_key = {future.key: job for future, job in zip(futures, jobs, strict=True)}
    coming = as_completed(futures, loop=client.loop)
    seen = time.monotonic()
    while not coming.is_empty():
        batch = coming.next_batch(block=False)
        if batch or client.ncores():
            seen = time.monotonic()
        elif time.monotonic() - seen > LOST_SECONDS:
            raise InputError(
                "all workers are gone and none came back; what is finished is kept: start workers, and the season again."
            )
        if not batch:
            time.sleep(TICK)
        for future in batch:
            yield by_key[future.key], future.result() if future.status == "finished" else None
            future.release()


@contextmanager
def _connect(address: str | None, workers: int | None) -> Iterator[Client]:
    """A client of the scheduler at `address`, or of a local cluster of processes, one thread each, memory bounded.

    Raises
    ------
    InputError
        If the scheduler does not answer or has no worker.
    """
    import logging

    import dask
    from distributed import Client, LocalCluster

    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    config = {
        "distributed.nanny.pre-spawn-environ": ENVIRONMENT,
        "distributed.scheduler.allowed-failures": DEATHS,
        "distributed.admin.system-monitor.gil.enabled": False,
    }
    with dask.config.set(config):
        if address is not None:
            try:
                client = Client(address, timeout=ANSWER_SECONDS, set_as_default=False)
            except (OSError, ValueError) as error:
                raise InputError(
                    f"--scheduler {address}: no dask scheduler answers there; start one with `dask scheduler`, or leave --scheduler out."
                ) from error
            with client:
                try:
                    client.wait_for_workers(1, timeout=ANSWER_SECONDS)
                except TimeoutError as error:
                    raise InputError(
                        f"--scheduler {address}: it has no worker; start some with `dask worker {address} --nthreads 1`."
                    ) from error
                yield client
            return
        count = workers or max(1, len(os.sched_getaffinity(0)))
        memory = min(MEMORY_MOST, int(MEMORY_SHARE * _memory() / count))
        with (
            LocalCluster(
                n_workers=count,
                threads_per_worker=1,
                memory_limit=memory,
                dashboard_address="127.0.0.1:0",
                host="127.0.0.1",
                silence_logs=logging.CRITICAL,
            ) as cluster,
            Client(cluster, set_as_default=False) as client,
        ):
            cluster.adapt(minimum=count, maximum=count)  # a worker that could not be started again is replaced
            yield client


def _memory() -> int:
    return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
