"""The entry, from outside: cheap to import, one function, errors that survive a process."""

from __future__ import annotations

import pickle
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import telemetry
from telemetry import UnreadableLog, read_log
from telemetry.model.log import Log

GOOD = Path(__file__).parents[1] / "data" / "good"


def test_importing_the_package_loads_nothing_heavy() -> None:
    code = (
        "import sys, telemetry; "
        "print(','.join(m for m in ('pandas', 'numpy', 'pyarrow', 'scipy') if m in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""


def test_the_entry_is_offered_by_the_package() -> None:
    assert telemetry.read_log is read_log
    assert {"read_log", "join_logs", "describe_columns", "ColumnMap"} <= set(dir(telemetry))
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        telemetry.nothing  # noqa: B018


def test_a_log_is_what_its_record_promises() -> None:
    log = read_log(GOOD / "sensor_row_unit_row.csv")
    assert isinstance(log, Log)
    assert log.frame.index.name == "time_s"
    assert (log.frame.dtypes == np.float64).all()
    assert log.text.index.equals(log.frame.index)
    assert len({c.key for c in log.channels}) == len(log.channels) == 5
    for channel in log.channels:
        assert channel.reason
        assert 0 <= channel.score <= 1
    assert log.places() == ()
    assert log.provenance.file == str(GOOD / "sensor_row_unit_row.csv")


def test_the_row_interval_must_be_a_time() -> None:
    for wrong in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(UnreadableLog, match="is impossible; give the seconds"):
            read_log(GOOD / "time_none.csv", row_interval_s=wrong)


def test_errors_survive_the_way_back_from_a_worker() -> None:
    with pytest.raises(UnreadableLog) as caught:
        read_log(GOOD / "nowhere.csv")
    again = pickle.loads(pickle.dumps(caught.value))
    assert str(again) == str(caught.value)
    assert again.path == str(GOOD / "nowhere.csv")


def test_the_file_is_read_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    raw = (GOOD / "utf16_le.csv").read_bytes()
    path.write_bytes(raw)
    read_log(path)
    assert path.read_bytes() == raw
    assert list(tmp_path.iterdir()) == [path]
