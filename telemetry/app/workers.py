"""Workers for a batch of many logs: processes of this machine, or those of a Dask cluster.

Standard library alone: a worker must be told how many threads to use before numpy is loaded. Dask
is imported only when a cluster is asked for.
"""

from __future__ import annotations

import logging
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
from importlib.metadata import PackageNotFoundError, version
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from pathlib import Path
from threading import Event, Thread
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

from telemetry.app.scheduler import no_answer, security_of
from telemetry.model.errors import WorkersError

if TYPE_CHECKING:
    from distributed import Client

# Read by OpenMP (and by pyarrow), OpenBLAS, MKL and macOS's Accelerate when they are loaded.
_THREADS = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
)
# How long a scheduler may take to answer, s (heuristic): a person is waiting.
_PATIENCE_S = 10

T = TypeVar("T")
R = TypeVar("R")


class Crew(NamedTuple):
    """Who does the work, and how many pieces of it are given out at once.

    ``executor`` None is this process: one piece after the other.
    """

    executor: Executor | None
    pending: int


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
    for name in _THREADS:
        os.environ.setdefault(name, "1")
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
        with _connected(scheduler) as client:
            threads = _usable(client, scheduler, folders)
            with _watched(client):
                yield Crew(_Cluster(client), 2 * threads)
    elif workers == 1:
        yield Crew(None, 0)
    else:
        with worker_pool(workers) as pool:
            yield Crew(pool, 2 * workers)


@contextmanager
def _watched(client: Client) -> Iterator[None]:
    """Closes the client once no worker is left, which a scheduler would wait for without end."""
    over = Event()

    def watch() -> None:
        before = True
        # Twice without a worker: one that ends may be started anew.
        while not over.wait(_PATIENCE_S) and client.status == "running":
            try:
                now = bool(client.nthreads())
            except Exception:  # the scheduler does not answer, which the client tells by itself
                return
            if not now and not before:
                client.close(timeout=_PATIENCE_S)
            before = now

    watcher = Thread(target=watch, daemon=True)
    watcher.start()
    try:
        yield
    finally:
        over.set()
        watcher.join(_PATIENCE_S)


class _Cluster(Executor):
    """The workers of a cluster; once its client is closed, all work is cancelled, old and new."""

    def __init__(self, client: Client) -> None:
        self._client = client
        # Not pure: a log may have been written on since the same work was asked for.
        self._executor: Executor = client.get_executor(pure=False)

    def submit(self, fn: Callable[..., R], /, *args: Any, **kwargs: Any) -> Future[R]:
        # While it closes, a client takes work that it never ends: refused here, or it hangs.
        if self._client.status != "running":
            raise CancelledError
        try:
            return self._executor.submit(fn, *args, **kwargs)
        except Exception as error:
            if self._client.status == "running":
                raise
            raise CancelledError from error


@contextmanager
def _connected(address: str) -> Iterator[Client]:
    try:
        from distributed import Client
    except ImportError as error:
        raise WorkersError(
            "--scheduler needs Dask, which is not installed",
            hint="install it with: python -m pip install 'dask[distributed]>=2024.12'",
        ) from error
    # What goes wrong is told here in one sentence; Dask would tell it over pages.
    for name in ("distributed", "distributed.client"):  # Dask may give each a level of its own
        logging.getLogger(name).setLevel(logging.CRITICAL)
    # Asked before a client is made: one that fails while it begins tells so at the end of Python.
    security = security_of(address, _PATIENCE_S)
    try:
        client = Client(
            address,
            timeout=_PATIENCE_S,
            security=security,
            set_as_default=False,
            name="busbook",
        )
    except (OSError, ValueError, TypeError) as error:
        raise no_answer(address, _PATIENCE_S) from error
    with client:
        yield client


def _usable(client: Client, address: str, folders: Sequence[Path]) -> int:
    """Threads of the cluster; WorkersError where its workers cannot do the work of this one."""
    names = [str(folder) for folder in folders]
    try:
        # The scheduler takes tasks apart, and must know what they are made of.
        client.run_on_scheduler(_look, [])
        found: dict[str, Any] = client.run(_look, names)
    except Exception as error:
        raise WorkersError(
            f"the cluster at '{address}' cannot run busbook ({error})",
            hint=f"install busbook {_version()} where its scheduler and its workers run",
        ) from error
    if not found:
        raise WorkersError(
            f"the scheduler at '{address}' has no workers",
            hint=f"start some with: dask worker {address} --nthreads 1 --nworkers auto",
        )
    for worker, (theirs, unseen) in sorted(found.items()):
        if theirs != _version():
            raise WorkersError(
                f"the worker at {worker} has busbook {theirs}, this is {_version()}",
                hint="install the same version on every machine",
            )
        if unseen:
            raise WorkersError(
                f"the worker at {worker} does not see this path",
                path=unseen[0],
                hint="a cluster needs logs and logbook in a folder that all its machines share "
                "under one path",
            )
    return sum(client.nthreads().values())


def _look(names: Sequence[str]) -> tuple[str, list[str]]:
    """On a worker: its version of this program, and which of these paths it does not see."""
    return _version(), [name for name in names if not os.path.exists(name)]  # noqa: PTH110 - text


def _version() -> str:
    try:
        return version("busbook")
    except PackageNotFoundError:
        return "(not installed)"


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
