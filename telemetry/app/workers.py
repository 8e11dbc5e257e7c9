"""Workers for a batch of many logs: processes of this machine, or those of a Dask cluster.

Standard library alone: a worker must be told how many threads to use before numpy is loaded. Dask
is imported only when a cluster is asked for.
"""

from __future__ import annotations

import os
import sys
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import (
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
)
from contextlib import contextmanager
from functools import partial
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from pathlib import Path
from threading import Thread
from typing import NamedTuple, TypeVar

from telemetry.app.cluster.client import ClusterExecutor, connected, usable, watched
from telemetry.model.errors import WorkersError
from telemetry.model.threads import EVERY, one_thread

T = TypeVar("T")
R = TypeVar("R")


class Crew(NamedTuple):
    """Who does the work, and how many pieces of it are given out at once.

    ``executor`` None is this process: one piece after the other.
    """

    executor: Executor | None
    pending: int


#: Everything in this process, one piece after the other.
ALONE = Crew(None, 0)


def worker_pool(workers: int) -> ProcessPoolExecutor:
    """A pool of so many processes, each of which computes in one thread.

    The processes are started afresh on every system: a copy of this one (fork) could take over a
    lock that one of its threads holds.

    Parameters
    ----------
    workers : int
        Number of processes, 1 or more.
    """
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_begin_worker)


def _begin_worker() -> None:
    """On a worker: one thread of each library, unless the user has set it otherwise."""
    one_thread(EVERY)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End this process as soon as the one that began it is gone, however that was ended.

    A pool asks its workers to end; one that was killed, or whose terminal was closed, asks nobody,
    and its workers would wait for work for ever.
    """
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


@contextmanager
def crew_of(
    workers: int, scheduler: str | None = None, folders: Sequence[Path] = ()
) -> Iterator[Crew]:
    """The crew for a batch: this process, a pool of processes, or a cluster.

    Parameters
    ----------
    workers : int
        Processes of this machine; 1 is this one.
    scheduler : str, optional
        Address of a Dask scheduler, whose workers then do it.
    folders : sequence of path
        Absolute; what the workers of a cluster must see under the same path.

    Raises
    ------
    WorkersError
        If Dask is not installed, or the cluster cannot be reached or used.
    """
    if scheduler is not None:
        with connected(scheduler) as client:
            threads = usable(client, scheduler, folders)
            with watched(client):
                yield Crew(ClusterExecutor(client), 2 * threads)
    elif workers == 1:
        yield ALONE
    else:
        with worker_pool(workers) as pool:
            yield Crew(pool, 2 * workers)


def calls(function: Callable[[T], R], items: Iterable[T], crew: Crew) -> Iterator[Callable[[], R]]:
    """For each item, in order, a call that gives the function's result for it.

    Without an executor the call does the work. With one, workers are that many items ahead.

    Parameters
    ----------
    function : callable
        Of a module, or a partial of one, where there is an executor.
    items : iterable
    crew : Crew

    Yields
    ------
    callable
        Raises what the function raised, or WorkersError if its worker has ended.
    """
    if crew.executor is None:
        yield from (partial(function, item) for item in items)
        return
    waiting: deque[Future[R]] = deque()
    for item in items:
        waiting.append(_begun(crew.executor, function, item))
        if len(waiting) > crew.pending:
            yield partial(_result, waiting.popleft())
    while waiting:
        yield partial(_result, waiting.popleft())


def _begun(executor: Executor, function: Callable[[T], R], item: T) -> Future[R]:
    try:
        return executor.submit(function, item)
    except Exception as error:  # a pool that broke takes no more work
        future: Future[R] = Future()
        future.set_exception(error)
        return future


def _result(future: Future[R]) -> R:
    try:
        return future.result()
    except Exception as error:
        if worker_gone(error):
            raise worker_error(error) from error
        raise


def worker_gone(error: BaseException) -> bool:
    """Whether an error tells that the worker came to an end, and not the work."""
    scheduler = sys.modules.get("distributed.scheduler")
    lost = () if scheduler is None else (scheduler.KilledWorker,)
    return isinstance(error, (BrokenExecutor, CancelledError, *lost))


def worker_error(error: BaseException, path: Path | None = None) -> WorkersError:
    """The error for a file whose worker, or the scheduler that leads it, came to an end."""
    if isinstance(error, CancelledError):  # nobody here cancels work; a lost connection does
        return WorkersError(
            "the cluster has gone: its scheduler does not answer, or has no worker left",
            path=path,
            hint="see that both run, then give the same command again; what is done stays done",
        )
    return WorkersError(
        "the worker that should read it has ended",
        path=path,
        hint="try it again with one worker; a very large log may need more memory",
    )
