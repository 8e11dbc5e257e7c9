"""The pool of processes: started afresh, one thread each."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from telemetry.app.workers import worker_pool


def test_a_worker_is_told_of_its_one_thread_before_numpy_is_loaded(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv("OMP_NUM_THREADS", raising=False)
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "3")
    with worker_pool(1) as pool:
        assert pool.submit(eval, "'numpy' in __import__('sys').modules").result() is False
        assert pool.submit(os.getenv, "OMP_NUM_THREADS").result() == "1"
        assert pool.submit(os.getenv, "OPENBLAS_NUM_THREADS").result() == "3"
        assert pool.submit(os.getpid).result() != os.getpid()
    assert "OMP_NUM_THREADS" not in os.environ


# A parent that tells the ids of its two workers, one of them busy, and waits.
_PARENT = """
import os, signal, sys, time
from telemetry.app.workers import worker_pool

if __name__ == "__main__":
    signal.signal(signal.SIGHUP, signal.SIG_DFL)  # the tests may run where it is ignored
    pool = worker_pool(2)
    busy = pool.submit(time.sleep, 600)
    print(*{pool.submit(os.getpid).result() for _ in range(20)}, *pool._processes, flush=True)
    time.sleep(600)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="looks for processes as POSIX names them")
@pytest.mark.parametrize("how", ["SIGKILL", "SIGTERM", "SIGHUP"])
def test_no_worker_outlives_a_parent_that_was_killed(how: str, tmp_path: Path) -> None:
    script = tmp_path / "parent.py"
    script.write_text(_PARENT)
    env = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    with subprocess.Popen(
        [sys.executable, str(script)], stdout=subprocess.PIPE, text=True, env=env
    ) as parent:
        assert parent.stdout is not None
        workers = {int(one) for one in parent.stdout.readline().split()}
        assert len(workers) == 2
        parent.send_signal(getattr(signal, how))
        parent.wait(10)
        until = time.monotonic() + 5
        while any(_lives(one) for one in workers):
            assert time.monotonic() < until, "a worker is left"
            time.sleep(0.05)
        assert parent.stdout.read() == "", "and nothing holds the output open"


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    # One that has ended and that nobody asked for is no more than its number.
    state = Path(f"/proc/{process}/stat")
    return not (state.exists() and state.read_text().rpartition(")")[2].split()[0] == "Z")
