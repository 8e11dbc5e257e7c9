"""A small invented log, and the commands run in this process or in one of their own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from telemetry.cli import main

ROOT = Path(__file__).parents[2]
Run = Callable[..., Result]
Process = Callable[..., "subprocess.CompletedProcess[str]"]


def text_of(*, dip_v: float = 0.0, seconds: float = 60.0, seed: int = 1) -> str:
    """Ten rows a second of a bus and two wings, with a stir from 20 s to 32 s; all invented.

    ``dip_v`` is how far bus and left wing fall together for half a second, three times.
    """
    rng = np.random.default_rng(seed)
    t = np.arange(0, seconds, 0.1)
    stir = (t >= 20) & (t < 32)
    wings = [np.where(stir, 2.5 + rng.normal(0, 0.8, t.size), 0.3) for _ in range(2)]
    wings = [np.round(np.maximum(w, 0.2) + 0.02 * rng.normal(size=t.size), 2) for w in wings]
    total = np.round(wings[0] + wings[1] + 0.4, 2)
    bus = np.round(8.0 - 0.03 * total + 0.004 * rng.normal(size=t.size), 2)
    left = np.round(bus - 0.03 * wings[0], 2)
    for start in (22.0, 25.0, 28.0):
        for volts in (bus, left):
            volts[(t >= start) & (t < start + 0.5)] -= dip_v
    lines = ["Time [s],Bus U [V],Bus I [A],Left wing U [V],Left wing I [A],Right wing I [A]"]
    lines += [
        f"{t[k]:.1f},{bus[k]:.2f},{total[k]:.2f},{left[k]:.2f},{wings[0][k]:.2f},{wings[1][k]:.2f}"
        for k in range(t.size)
    ]
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="session")
def log_text() -> str:
    """A log in which nothing is wrong."""
    return text_of()


@pytest.fixture(scope="session")
def faulty_text() -> str:
    """A log whose bus falls three times below the level at which receivers restart."""
    return text_of(dip_v=4.8)


@pytest.fixture(scope="session")
def watch_text() -> str:
    """A log with findings to watch and none to ground: the bus falls three times, less far."""
    return text_of(dip_v=3.0)


@pytest.fixture
def log(tmp_path: Path, log_text: str) -> Path:
    """A log in which nothing is wrong, in a folder of its own."""
    path = tmp_path / "logs" / "evening.csv"
    path.parent.mkdir()
    path.write_text(log_text)
    return path


@pytest.fixture
def faulty(tmp_path: Path, faulty_text: str) -> Path:
    """A log with a finding to ground for, in a folder of its own."""
    path = tmp_path / "faulty" / "noon.csv"
    path.parent.mkdir()
    path.write_text(faulty_text)
    return path


@pytest.fixture(scope="session")
def runner() -> CliRunner:
    """Runs commands in this process, stdout and stderr apart."""
    try:
        return CliRunner(mix_stderr=False)  # type: ignore[call-arg]  # click before 8.2
    except TypeError:
        return CliRunner()


@pytest.fixture
def run(runner: CliRunner) -> Run:
    """Run a command in this process, and never a traceback."""

    def run(*arguments: object) -> Result:
        result = runner.invoke(main, [str(a) for a in arguments])
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        assert "Traceback" not in result.stdout + result.stderr
        return result

    return run


@pytest.fixture
def process() -> Process:
    """Run ``python -m telemetry`` in a process of its own."""

    def process(*arguments: object, **more: object) -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, **more.pop("env", {})}  # type: ignore[dict-item]
        done = subprocess.run(
            [sys.executable, "-m", "telemetry", *(str(a) for a in arguments)],
            capture_output=True,
            text=True,
            encoding="utf-8",
            errors="replace",
            timeout=120,
            check=False,
            cwd=more.pop("cwd", ROOT),  # type: ignore[call-overload]
            env={"PYTHONPATH": str(ROOT), **environment},
            **more,
        )
        assert "Traceback" not in done.stdout + done.stderr
        return done

    return process
