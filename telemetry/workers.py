"""Processes for a batch of many logs.

Standard library alone: a worker must be told how many threads to use before numpy is loaded.
"""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

# Read by OpenMP (and by pyarrow), OpenBLAS, MKL and macOS's Accelerate when they are loaded.
_THREADS = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
)


def worker_pool(workers: int) -> ProcessPoolExecutor:
    """A pool of so many processes, each of which computes in one thread.

    The processes are started afresh on every system: a copy of this one (fork) could take over a
    lock that one of its threads holds.

    Parameters
    ----------
    workers : int
        Number of processes, 1 or more.
    """
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_one_thread)


def _one_thread() -> None:
    """Keep as many threads running as there are workers, unless the user has set it otherwise."""
    for name in _THREADS:
        os.environ.setdefault(name, "1")
