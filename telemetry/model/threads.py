"""How many threads the libraries beneath begin; they ask when they are loaded."""

from __future__ import annotations

import os
from collections.abc import Sequence

#: Read by OpenBLAS, MKL and macOS's Accelerate.
ALGEBRA = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
#: Those, and what OpenMP and pyarrow read.
EVERY = ("OMP_NUM_THREADS", *ALGEBRA)


def one_thread(names: Sequence[str]) -> None:
    """Have libraries that are not loaded yet use one thread, unless the user has set it otherwise.

    Parameters
    ----------
    names : sequence of str
        ``ALGEBRA`` or ``EVERY``.
    """
    for name in names:
        os.environ.setdefault(name, "1")
