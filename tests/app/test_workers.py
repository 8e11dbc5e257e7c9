"""The pool of processes: started afresh, one thread each."""

from __future__ import annotations

import os

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
