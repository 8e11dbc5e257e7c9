"""Every ``--set`` that the program prints works when it is pasted."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import telemetry
from telemetry import UnreadableLog, describe_columns, join_logs, read_log
from telemetry.cli.shared import settings_of
from telemetry.report.documents.listing import render

T = np.arange(400) * 0.1
AMPS = np.round(2.0 + np.abs(np.sin(T)), 2)
VOLTS = np.round(8.2 - 0.05 * AMPS, 3)
_LINE = re.compile(r"--set ((?:'[^']*'|\"[^\"]*\")(?: or (?:'[^']*'|\"[^\"]*\"))*)")

# One file for each thing that is asked for: columns, and a piece of the hint.
ASKED: dict[str, tuple[dict[str, object], str]] = {
    "ticks, whole": ({"Time": np.arange(400) * 10, "Bus [V]": VOLTS}, "time[0.01s]"),
    "minutes or hours": ({"Time": np.round(T / 60, 5), "Bus [V]": VOLTS}, "time[min]"),
    "nothing names the time": ({"Ticks": np.arange(400) * 100, "Bus [V]": VOLTS}, "time[ms]"),
    "a rarer unit fits too": ({"Time": np.arange(400), "Bus [V]": VOLTS}, "time[0.1s]"),
    "quotes in a name": ({"Time 'a' \"b\"": np.arange(400) * 10, "Bus [V]": VOLTS}, "#1=time"),
    "a name like a setting": ({"t [s]": T, "@U": np.round(VOLTS * 10), "#7": VOLTS}, "PLACE/"),
    "day or month": ({"Date": ["03/04/2026"] * 400, "t [s]": T, "Bus [V]": VOLTS}, "time[mdy]"),
    "packed date": ({"Date": ["260518"] * 400, "t [s]": T, "Bus [V]": VOLTS}, "time[ymd]"),
    "date with dashes": (
        {"Time": [f"18-05-26 10:14:{k % 60:02d}" for k in range(60)], "Bus [V]": VOLTS[:60]},
        "time[ymd]",
    ),
    "no time, a counter": ({"No.": np.arange(400), "Bus [V]": VOLTS}, "No.=time[s]"),
    "hours apart": ({"Time [s]": np.arange(400) * 1e5, "Bus [V]": VOLTS}, "time[us]"),
    "words": ({"t [s]": T, "Bus [V]": VOLTS, "Left wing [A]": ["low"] * 400}, "status"),
    "emptied": ({"t [s]": T, "Bus [V]": VOLTS, "Pack 1 [Ah]": ["1e307"] * 400}, "ignore"),
    "volts, tenths": (
        {"t [s]": T, "Pack 1 voltage": np.round(VOLTS * 7.5)}, "pack 1/voltage[0.1 V]"
    ),
    "amperes, tenths": (
        {"t [s]": T, "Bus [V]": VOLTS, "Left wing current": np.round(AMPS * 10)}, "[0.1 A]"
    ),
    "degrees": ({"t [s]": T, "Bus [V]": VOLTS, "Regulator temp": 76 + np.round(T / 9)}, "[degF]"),
    "a current beside a voltage": (
        {"t [s]": T, "Bus [V]": VOLTS, "Bus [A]": AMPS, "Qx [V]": VOLTS, "Rq [A]": AMPS},
        "current[A]",
    ),
    "a unit without a quantity": ({"t [s]": T, "Bus [V]": VOLTS, "Dings": AMPS}, "PLACE/"),
}  # fmt: skip


def write(path: Path, columns: dict[str, object]) -> Path:
    cells = [[str(x) for x in values] for values in columns.values()]  # type: ignore[attr-defined]
    quoted = ['"' + name.replace('"', '""') + '"' for name in columns]
    rows = [",".join(row) for row in zip(*cells, strict=True)]
    path.write_text("\n".join([",".join(quoted), *rows]) + "\n", encoding="utf-8")
    return path


def printed(path: Path) -> str:
    """All that is said of a file: by its listing, and by the log or what refuses it."""
    said = [render(describe_columns(path), 400)]
    try:
        said += read_log(path).provenance.notes
    except UnreadableLog as error:
        said.append(str(error))
    return "\n".join(said)


def hints(text: str) -> list[str]:
    """What stands behind each ``--set``, as a shell would part it."""
    flat = re.sub(r"\s*\n\s*", " ", text)
    found = [shlex.split(part) for line in _LINE.findall(flat) for part in line.split(" or ")]
    assert all(len(words) == 1 for words in found), found
    return list(dict.fromkeys(words[0] for words in found))


@pytest.mark.parametrize("name", ASKED)
def test_every_hint_works_when_pasted(name: str, tmp_path: Path) -> None:
    columns, piece = ASKED[name]
    path = write(tmp_path / "log.csv", columns)
    found = hints(printed(path))
    assert any(piece in hint for hint in found), found
    for hint in found:
        listing = describe_columns(path, settings=settings_of([hint]))
        assert len(listing.settled) == 1, hint
        again = hints(listing.problem)
        assert hint not in again, (hint, listing.problem)


def test_parts_of_one_log_in_two_units(tmp_path: Path) -> None:
    parts = [
        write(tmp_path / f"{unit}.csv", {"t [s]": T, f"Pack 1 remaining [{unit}]": 90 - T})
        for unit in ("%", "mAh")
    ]
    logs = [read_log(p) for p in parts]
    with pytest.raises(UnreadableLog) as caught:
        join_logs(logs)
    (hint,) = hints(str(caught.value))
    assert describe_columns(parts[1], settings=settings_of([hint])).settled


def test_no_place_in_the_program_prints_a_hint_by_hand() -> None:
    """All are made by one function, which the files above call for each thing asked for."""
    folder = Path(telemetry.__file__).parent
    by_hand: Callable[[str], list[str]] = re.compile(r"--set ['\"{]").findall
    for path in folder.rglob("*.py"):
        if path.name not in ("unsettled.py", "shared.py") and "cli" not in path.parts:
            code = re.sub(r'"""[\s\S]*?"""', "", path.read_text(encoding="utf-8"))
            assert not by_hand(code), path
