"""No part of the program reads a text that another part wrote: in other words, the same is found.

A second run takes every text for people in other words (see :mod:`tests.rewording`). What it finds
has to be what the first run finds, to the last number and, the words put back, to the last word.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.rewording import as_written, in_other_words

ROOT = Path(__file__).parent.parent
RATE_HZ = 5.0
PROFILE = """
name = "season"
bus = "bus"
[[packs]]
name = "pack 1"
capacity_mah = 2500
[[packs]]
name = "pack 2"
chemistry = "lipo"
cells = 2
capacity_mah = 2500
[[nodes]]
name = "left wing"
fed_from = "bus"
lead = { mm2 = 1.0, length_m = 1.2 }
[[nodes]]
name = "right wing"
fed_from = "bus"
[[nodes]]
name = "tail"
fed_from = "bus"
"""


def table(path: Path, columns: dict[str, np.ndarray], separator: str = ";") -> None:
    """Write columns of numbers, or of words, under their names."""
    rows = zip(*columns.values(), strict=True)
    lines = [separator.join(columns)]
    lines += [separator.join(x if isinstance(x, str) else f"{x:.3f}" for x in row) for row in rows]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def held() -> dict[str, np.ndarray]:
    """Two packs behind a regulator: they fall, the bus keeps its 6 V but for its own droop."""
    rng = np.random.default_rng(5)
    t = np.arange(0.0, 300.0, 1 / RATE_HZ)
    moving = (t > 30) & (t < 270)
    # Moves of a second or two, each of its own strength.
    strength = np.repeat(rng.exponential(3.0, t.size // 8 + 1), 8)[: t.size]
    load = 0.6 + np.where(moving, 2.0 + strength, 0.0)
    own = 0.5 * load + rng.normal(0.0, 0.02, t.size)
    packs = [8.3 - 0.7 * t / 300 - 0.04 * 0.5 * load + rng.normal(0.0, 0.003, t.size)] * 2
    return {
        "Time [s]": t,
        "Pack 1 voltage [V]": packs[0],
        "Pack 1 current [A]": own,
        "Pack 2 voltage [V]": packs[1] - 0.02,
        "Pack 2 current [A]": load - own,
        "Bus voltage [V]": 6.0 - 0.008 * load + rng.normal(0.0, 0.003, t.size),
    }


def odd() -> dict[str, np.ndarray]:
    """Numbers without a part, a current of both signs, a unit that contradicts the name."""
    rng = np.random.default_rng(6)
    t = np.arange(0.0, 60.0, 0.2)
    cells = {f"U{n} [V]": 3.8 + rng.normal(0.0, 0.01, t.size) for n in range(1, 7)}
    return {"Time [s]": t, **cells, "I bus": rng.normal(-0.1, 2.0, t.size), "Temp [A]": t / 60}


def part(first_s: float, day: str) -> dict[str, np.ndarray]:
    t = first_s + np.arange(0.0, 30.0, 0.5)
    voltage = 8.0 - t / 1000
    return {"Date": np.full(t.size, day), "Elapsed [s]": t, "Battery [V]": voltage}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("reworded")
    table(made / "held.csv", held())
    table(made / "odd.csv", odd())
    table(made / "part1.csv", part(0.0, "05.06.24"))
    table(made / "part2.csv", part(40.0, "05.06.24"))
    for number in ("01", "06", "12"):
        log = ROOT / "sample_logs" / f"tern-flight-{number}.csv"
        shutil.copy(log, made / f"season{number}.csv")
    (made / "season12.toml").write_text(PROFILE, encoding="utf-8")
    wrong = PROFILE.replace('name = "left wing"', 'name = "left wing"\nservos = -1')
    wrong += '[[servos]]\nnode = "left wing"\noutput = 1\ndrives = "left aileron"\n'
    wrong += '[[servos]]\nnode = "nose"\noutput = 1\ndrives = "rudder"\n'
    # What feeds the tail is wrong itself: that nothing of its name is there follows from that.
    wrong = wrong.replace('name = "tail"\nfed_from = "bus"', 'name = "tail"\nfed_from = "switch"')
    wrong += '[[supplies]]\nname = "switch"\nfed_from = ["pack 1"]\n'
    (made / "profile.wrong").write_text(wrong, encoding="utf-8")
    return made


def run(folder: Path, *how: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "tests.rewording", str(folder), *how],
        capture_output=True,
        encoding="utf-8",
        cwd=ROOT,
        check=False,
        timeout=600,
    )
    assert done.returncode == 0, done.stderr[-4000:]
    shutil.rmtree(folder / "book")
    return done.stdout


def unlike(a: Any, b: Any, where: str = "") -> list[str]:
    """Where two documents differ."""
    if isinstance(a, dict) and isinstance(b, dict) and set(a) == set(b):
        return [d for key in a for d in unlike(a[key], b[key], f"{where}.{key}")]
    if isinstance(a, list) and isinstance(b, list) and len(a) == len(b):
        return [d for k, (x, y) in enumerate(zip(a, b, strict=True))
                for d in unlike(x, y, f"{where}[{k}]")]  # fmt: skip
    return [] if a == b else [f"{where}: {a!r} -> {b!r}"]


@pytest.fixture(scope="module")
def found(folder: Path) -> dict[str, Any]:
    made: dict[str, Any] = json.loads(run(folder))
    return made


def test_the_same_is_found_in_other_words(folder: Path, found: dict[str, Any]) -> None:
    reworded = run(folder, "reworded")
    assert len(reworded) - len(as_written(reworded)) > 50_000, "hardly a text was reworded"
    assert unlike(found, json.loads(as_written(reworded))) == []


def test_the_logs_hold_what_a_sentence_could_tell(found: dict[str, Any]) -> None:
    """Else the test above would prove little."""
    assert len(found["profile.wrong"]) == 3, "without what follows from another one"
    assert "by the clock" in found["joined"]["notes"][0], "a day alone is no date to join by"
    columns = {c["column"]: c for c in found["odd.csv"]["channels"]}
    assert [columns[f"U{n} [V]"]["cell"] for n in range(1, 7)] == [1, 2, 3, 4, 5, 6]
    (flight,) = found["held.csv"]["review"]["flights"]
    assert any("a regulator holds" in r["refused"] for r in flight["resistances"])
    lost = [c for m in flight["margins"] for c in m["cases"] if c["case"] == "pack-lost"]
    assert any(c["voltage_v"] is not None for c in lost)


def test_a_text_in_other_words_is_another_one_and_can_be_put_back() -> None:
    text = "the current of {place:s} hardly moved (spread {amps:.2f} A)"
    one, other = (in_other_words(text, where) for where in ("here", "there"))
    assert len({text, one, other}) == 3
    assert as_written(one) == as_written(other) == text
    assert "{place:s}" in one
    assert "current of" not in one
