"""Small logs made by hand, with the CSV they would have been read from."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from telemetry.book import Logbook
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance


@dataclass(frozen=True)
class Made:
    """A log, and the bytes of the file it stands for."""

    log: Log
    data: bytes


def make_log(
    *,
    seed: int = 0,
    rows: int = 40,
    file: str = "flight 1.csv",
    start: str | None = None,
    places: tuple[str, ...] = ("bus", "left wing"),
    model: str = "",
    text: bool = True,
    blanks: bool = True,
) -> Made:
    rng = np.random.default_rng(seed)
    index = pd.Index(np.round(np.arange(rows) * 0.1, 1), name="time_s")
    frame: dict[str, Any] = {}
    channels = [Channel(key="time_s", column="Time [s]", quantity=Quantity.TIME, place=None)]
    for place in places:
        for quantity, unit in ((Quantity.VOLTAGE, "V"), (Quantity.CURRENT, "A")):
            values = np.round(rng.normal(6, 0.2, rows), 2)
            if blanks:
                values[1::3] = np.nan
            key = f"{place}/{quantity}"
            frame[key] = values
            channels.append(
                Channel(
                    key=key,
                    column=f"{place.title()} {quantity} [{unit}]",
                    quantity=quantity,
                    place=place,
                    label=place.title(),
                    unit=unit,
                    source_unit=unit,
                    reason="its words",
                    rivals=("bus/power[W]",),
                )
            )
    words = pd.DataFrame()
    if text:
        states = ["=1+1", "idle", None, "-12.5", "flight"]
        words = pd.DataFrame({"file/status": [states[i % 5] for i in range(rows)]}, index=index)
        channels.append(
            Channel(
                key="file/status", column="State", quantity=Quantity.STATUS, place=None, text=True
            )
        )
    table = pd.DataFrame(frame, index=index)
    data = pd.concat([table, words], axis=1).to_csv().encode()
    log = Log(
        frame=table,
        text=words,
        channels=tuple(channels),
        provenance=Provenance(
            file=file,
            sha256=hashlib.sha256(data).hexdigest(),
            size_bytes=len(data),
            rows=rows,
            start=start,
            recordings=((0.0, float(index[-1])),),
            preamble=(("Model", model), ("Firmware", "1.2")) if model else (),
            notes=("Invented.",),
        ),
    )
    return Made(log, data)


@pytest.fixture(scope="session")
def make() -> Callable[..., Made]:
    return make_log


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    return Logbook(tmp_path / "book")
