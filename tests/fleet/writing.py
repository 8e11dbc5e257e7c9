"""Rows of a log as a CSV file in one way of writing."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.fleet.labels import WORDS, Labels

FloatArray = NDArray[np.float64]


def write(
    path: Path,
    labels: Labels,
    at_s: FloatArray,
    columns: Mapping[str, tuple[FloatArray, float]],
    *,
    start: datetime,
    about: Mapping[str, str],
) -> None:
    """Write columns, by "place/quantity", each with its step, at these times."""
    sep = labels.separator
    head = ["time"] if labels.time != "date and clock" else ["date", "time"]
    words = {"time": WORDS[labels.language]["time"], "date": _DATE[labels.language]}
    unit = {"s": " [s]", "ms": " [ms]"}.get(labels.time, "")
    names = [words[h] + (unit if h == "time" else "") for h in head]
    names += [labels.header(*key.split("/")) for key in columns]
    lines = []
    if labels.preamble:
        lines += [f"{name}: {value}" for name, value in about.items()]
    lines.append(sep.join(f'"{n}"' if sep in n else n for n in names))
    cells = [_times(labels, at_s, start)]
    for key, (values, step) in columns.items():
        milli = labels.milli and key.split("/")[1] in ("voltage", "current")
        cells.append(_numbers(labels, 1000 * values if milli else values, step, milli))
    lines += [sep.join(row) for row in zip(*cells, strict=True)]
    path.write_bytes(("\n".join(lines) + "\n").encode(labels.encoding))


_DATE = {"en": "date", "de": "Datum", "fr": "date", "es": "fecha"}


def _numbers(labels: Labels, values: FloatArray, step: float, milli: bool) -> list[str]:
    places = 0 if step >= 1.0 or milli else 1 if step >= 0.1 else 2
    texts = [labels.blank if np.isnan(v) else f"{v:.{places}f}" for v in values]
    return [t.replace(".", labels.decimal) for t in texts]


def _times(labels: Labels, at_s: FloatArray, start: datetime) -> list[str]:
    if labels.time == "s":
        return [f"{t:.2f}".replace(".", labels.decimal) for t in at_s]
    if labels.time == "ms":
        return [f"{1000 * t:.0f}" for t in at_s]
    moments = [start + timedelta(milliseconds=round(1000 * t)) for t in at_s]
    clock = [f"{m:%H:%M:%S}.{m.microsecond // 1000:03d}" for m in moments]
    if labels.time == "clock":
        return clock
    return [f"{m:%Y-%m-%d}{labels.separator}{c}" for m, c in zip(moments, clock, strict=True)]
