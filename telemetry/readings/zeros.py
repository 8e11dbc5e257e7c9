"""A lost link that was written as zeros: many places at exactly 0 in one row, counters going on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from telemetry.model.channels import COUNTERS, Channel, Quantity
from telemetry.model.log import FloatArray, Log
from telemetry.numerics import sampling
from telemetry.readings.silence import OF_TRANSMITTER
from telemetry.results import Dropout

BoolArray = NDArray[np.bool_]

#: Fewest places at exactly 0 together, with a counter that tells that they lived on, and without
#: (heuristic).
_PLACES_WITH_COUNTER, _PLACES = 2, 3
#: Of the voltages of a log that holds values, this part turns to 0 in the very same row: those of
#: a supply that fails do so each in its unit's turn (heuristic).
_TOGETHER = 0.7
_LOOK_ROWS = 50


def without_zeros(log: Log) -> tuple[Log, tuple[Dropout, ...]]:
    """The log with the rows of a lost link blank, and those stretches.

    In such a row every voltage of the log reads exactly 0, the packs' too, where readings follow
    before and after, and no counter begins again: no unit without a supply reports, and no pack
    reads 0.00 V and its full voltage a second later.
    """
    radio = [
        c
        for c in log.channels
        if not c.text and c.key in log.frame.columns and c.quantity not in OF_TRANSMITTER
    ]
    volts = [c for c in radio if c.quantity is Quantity.VOLTAGE and not c.hold and c.place]
    volts = [c for c in volts if np.nan_to_num(log.values(c.key)).any()]
    if len({c.place for c in volts}) < _PLACES_WITH_COUNTER:
        return log, ()
    lost = np.zeros(log.time_s.size, dtype=bool)
    spans = []
    for a, b in _zero_rows([log.values(c.key) for c in volts]):
        if _is_lost_link(log, volts, a, b):
            lost[a:b] = True
            spans.append((float(log.time_s[a]), float(log.time_s[b])))
    if not spans:
        return log, ()
    blank = {c.key: _blank(log.values(c.key), c, lost) for c in radio}
    dropouts = tuple(Dropout(place=None, start_s=a, end_s=b, kind="zeros") for a, b in spans)
    return replace(log, frame=log.frame.assign(**blank)), dropouts


def _blank(values: FloatArray, channel: Channel, lost: BoolArray) -> FloatArray:
    """A counter that ran on keeps its readings."""
    gone = lost & (values == 0.0) if channel.quantity in COUNTERS else lost
    return np.where(gone, np.nan, values)


def _zero_rows(volts: list[FloatArray]) -> list[tuple[int, int]]:
    """First and past-last rows of stretches in which no voltage is anything but exactly 0."""
    table = np.vstack(volts)
    known = np.isfinite(table)
    alive = (known & (table != 0.0)).any(axis=0)
    silent = ~known.any(axis=0)
    # Rows without any voltage belong to the stretch before them.
    at = np.maximum.accumulate(np.where(silent, -1, np.arange(alive.size)))
    dark = (at >= 0) & ~alive[np.maximum(at, 0)]
    edge = np.diff(np.r_[False, dark, False].astype(np.int8))
    pairs = zip(np.flatnonzero(edge == 1), np.flatnonzero(edge == -1), strict=True)
    return [(int(a), int(b)) for a, b in pairs]


def _is_lost_link(log: Log, volts: list[Channel], a: int, b: int) -> bool:
    """Whether a stretch of zeros, with rows before and after, is the link's."""
    if a == 0 or b >= log.time_s.size:
        return False
    values = {c.key: log.values(c.key) for c in volts}
    places = {c.place for c in volts if np.isfinite(values[c.key][a:b]).any()}
    everywhere = {c.place for c in volts}
    counters = [
        x
        for c in log.channels
        if c.quantity in COUNTERS and not c.text and c.key in log.frame.columns
        for x in [log.values(c.key)]
        if np.nan_to_num(x).any()
    ]
    if any(_begins_again(x, a, b) for x in counters):
        return False
    fewest = _PLACES_WITH_COUNTER if counters else _PLACES
    if len(places) < fewest:
        return False
    if any(sampling.is_sparse(x) for x in values.values()):
        return len(places) >= _TOGETHER * len(everywhere)
    # One that skipped its turn in that row tells nothing of it.
    read = [c for c in volts if np.isfinite(values[c.key][a])]
    turned = [c for c in read if _last(values[c.key][:a]) != 0.0]
    return len({c.place for c in read}) >= fewest and len(turned) >= _TOGETHER * len(read)


def _last(values: FloatArray) -> float | None:
    """The last reading, None where there is none."""
    known = values[np.isfinite(values)]
    return float(known[-1]) if known.size else None


def _begins_again(counter: FloatArray, a: int, b: int) -> bool:
    """Whether a counter is lower after a stretch than before it."""
    before = counter[max(0, a - _LOOK_ROWS) : a]
    after = counter[b : b + _LOOK_ROWS]
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    return bool(before.size and after.size and after[0] < before[-1])
