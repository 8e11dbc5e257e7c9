"""A client of a Dask cluster. Dask is imported only when a cluster is asked for."""

from __future__ import annotations

import logging
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError, Executor, Future
from contextlib import contextmanager
from pathlib import Path
from threading import Event, Thread
from typing import TYPE_CHECKING, Any, TypeVar

from telemetry.app.cluster.address import no_answer, security_of
from telemetry.model.errors import WorkersError
from telemetry.model.version import made_by

if TYPE_CHECKING:
    from distributed import Client

#: How long a scheduler may take to answer, s (heuristic): a person is waiting.
PATIENCE_S = 10

R = TypeVar("R")


@contextmanager
def watched(client: Client) -> Iterator[None]:
    """Closes the client once no worker is left, which a scheduler would wait for without end."""
    over = Event()

    def watch() -> None:
        before = True
        # Twice without a worker: one that ends may be started anew.
        while not over.wait(PATIENCE_S) and client.status == "running":
            try:
                now = bool(client.nthreads())
            except Exception:  # the scheduler does not answer, which the client tells by itself
                return
            if not now and not before:
                client.close(timeout=PATIENCE_S)
            before = now

    watcher = Thread(target=watch, daemon=True)
    watcher.start()
    try:
        yield
    finally:
        over.set()
        watcher.join(PATIENCE_S)


class ClusterExecutor(Executor):
    """The workers of a cluster; once its client is closed, all work is cancelled, old and new."""

    def __init__(self, client: Client) -> None:
        self._client = client
        # Not pure: a log may have been written on since the same work was asked for.
        self._executor: Executor = client.get_executor(pure=False)

    def submit(self, fn: Callable[..., R], /, *args: Any, **kwargs: Any) -> Future[R]:
        """As of every executor; CancelledError once the client is closed."""
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
def connected(address: str) -> Iterator[Client]:
    """A client of the scheduler at an address; WorkersError where there is none to be had."""
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
    security = security_of(address, PATIENCE_S)
    try:
        client = Client(
            address,
            timeout=PATIENCE_S,
            security=security,
            set_as_default=False,
            name="busbook",
        )
    except (OSError, ValueError, TypeError) as error:
        raise no_answer(address, PATIENCE_S) from error
    with client:
        yield client


def usable(client: Client, address: str, folders: Sequence[Path]) -> int:
    """Threads of the cluster; WorkersError where its workers cannot do the work of this one."""
    names = [str(folder) for folder in folders]
    try:
        # The scheduler takes tasks apart, and must know what they are made of.
        client.run_on_scheduler(_look, [])
        found: dict[str, Any] = client.run(_look, names)
    except Exception as error:
        raise WorkersError(
            f"the cluster at '{address}' cannot run busbook ({error})",
            hint=f"install {made_by()} where its scheduler and its workers run",
        ) from error
    if not found:
        raise WorkersError(
            f"the scheduler at '{address}' has no workers",
            hint=f"start some with: dask worker {address} --nthreads 1 --nworkers auto",
        )
    for worker, (theirs, unseen) in sorted(found.items()):
        if theirs != made_by():
            raise WorkersError(
                f"the worker at {worker} has {theirs}, this is {made_by()}",
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
    return made_by(), [name for name in names if not os.path.exists(name)]  # noqa: PTH110 - text
