"""A letter that may stand for a cell, where the file itself shows that it does not."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from telemetry.importer import read_log


def test_a_code_with_a_current_of_its_own_is_no_cell(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    t = np.arange(0.0, 60.0, 0.1)
    amps = [0.4 + np.abs(rng.normal(1.0, 0.8, t.size)) for _ in range(3)]
    path = tmp_path / "log.csv"
    head = ",".join(f"U-Z{n},I-Z{n}" for n in (1, 2, 3))
    volts = [8.2 - 0.001 * t - 0.05 * a for a in amps]
    rows = [
        ",".join(
            [f"{t[k]:.1f}", *(f"{u[k]:.2f},{a[k]:.2f}" for u, a in zip(volts, amps, strict=True))]
        )
        for k in range(t.size)
    ]
    path.write_text("\n".join([f"time,{head}", *rows]) + "\n", encoding="utf-8")
    read = {c.column: (c.place, c.quantity) for c in read_log(path).channels if c.place}
    assert read == {
        name: (f"z{n}", quantity)
        for n in (1, 2, 3)
        for name, quantity in ((f"U-Z{n}", "voltage"), (f"I-Z{n}", "current"))
    }
