"""What the measurements share: the shortest of several rounds, and a large table to read."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

PLACES = ("Akku 1", "Akku 2", "Verteiler", "Links", "Rechts", "Leitwerk", "Knoten 4")
_ROW_BYTES = 143


def best(rounds: int, *calls: Callable[[], Any]) -> list[float]:
    """Shortest time of each call, s; the calls take turns."""
    shortest = [float("inf")] * len(calls)
    for _ in range(rounds):
        for i, call in enumerate(calls):
            begun = time.perf_counter()
            call()
            shortest[i] = min(shortest[i], time.perf_counter() - begun)
    return shortest


def memory_mb() -> float:
    """Highest memory of this process so far."""
    if sys.platform == "win32":
        return float("nan")
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def table(path: Path, megabytes: float) -> list[str]:
    """Write an invented table of a time and 23 channels in a German dialect; its header."""
    rng = np.random.default_rng(1)
    rows = int(megabytes * 1_000_000 // _ROW_BYTES)
    names, columns = ["Zeit [s]"], [np.char.mod("%.2f", np.arange(rows) * 0.1)]
    for place in PLACES:
        for quantity, values in (
            ("Spannung [V]", np.char.mod("%.3f", 8.2 - 0.3 * rng.random(rows))),
            ("Strom [A]", np.char.mod("%.3f", rng.gamma(2.0, 1.0, rows))),
            ("Temperatur [°C]", np.char.mod("%.1f", 25 + 5 * rng.random(rows))),
        ):
            names.append(f"{place} {quantity}")
            columns.append(values)
    for i in (1, 2):
        names.append(f"Akku {i} Verbrauch [mAh]")
        columns.append(np.char.mod("%.1f", np.arange(rows) * 0.01 * i))
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(";".join(names) + "\n")
        for start in range(0, rows, 20_000):
            block = np.array([c[start : start + 20_000] for c in columns]).T
            file.write("\n".join(map(";".join, block.tolist())).replace(".", ",") + "\n")
    return names
