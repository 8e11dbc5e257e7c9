"""Stretches without readings: telemetry that froze or went blank, a supply not switched on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from telemetry.aircraft import Limits
from telemetry.model.channels import Quantity
from telemetry.model.log import Log
from telemetry.numerics import sampling
from telemetry.results import Dropout, Span
from telemetry.results.readings import Reading

# A supply below this is no supply, and a pack that reads less is not connected: whatever would
# report it is off (common practice, no source: receivers and units restart somewhere between 2.5
# and 4.5 V, and any pack reads more while a cell of it lives).
NO_SUPPLY_V = 1.5
# What the transmitter itself knows goes on while the link is lost.
OF_TRANSMITTER = (Quantity.CONTROL, Quantity.LINK, Quantity.LOST, Quantity.TIME, Quantity.COUNT)


def dropouts_of(
    log: Log, raw: list[Reading], gaps: list[tuple[float, float]], limits: Limits
) -> tuple[Dropout, ...]:
    """Stretches in which all that comes by radio froze or went blank."""
    group = [
        r
        for r in raw
        if r.channel.quantity not in OF_TRANSMITTER
        and r.channel.quantity is not Quantity.UNKNOWN
        and r.update_s is not None
    ]
    if not group:
        return ()
    time_s = log.time_s
    out: list[Dropout] = []
    columns = [log.values(r.channel.key) for r in group]
    blank = np.ones(time_s.size, dtype=bool)
    for values in columns:
        blank &= ~np.isfinite(values)
    sparse = all(sampling.is_sparse(values) for values in columns)
    present = np.flatnonzero(~blank)
    usual = min(r.update_s for r in group if r.update_s is not None)
    least = max(limits.gap_s, limits.gap_intervals * usual)
    if present.size:
        for a, b in sampling.gap_spans(
            time_s[present], usual, intervals=limits.gap_intervals, least_s=limits.gap_s
        ):
            row_gap = any(g0 <= a and b <= g1 for g0, g1 in gaps)
            if not row_gap:
                out.append(Dropout(place=None, start_s=a, end_s=b, kind="blank"))
    if sparse:
        return tuple(out)
    changed = np.zeros(time_s.size, dtype=bool)
    for values in columns:
        changed[sampling.change_rows(values)] = True
    at = time_s[changed & ~blank]
    if at.size < 50:
        return tuple(out)
    steps = np.diff(at)
    # Quiet ground time makes long stretches without a change; a frozen link stands out of them.
    quiet = float(np.quantile(steps, 0.99))
    for i in np.flatnonzero(steps > max(least, 3.0 * quiet)):
        a, b = float(at[i]), float(at[i + 1])
        known = any(d.start_s <= a + least and b <= d.end_s + least for d in out)
        row_gap = any(min(b, g1) - max(a, g0) > 0.5 * (b - a) for g0, g1 in gaps)
        if not known and not row_gap:
            out.append(Dropout(place=None, start_s=a + usual, end_s=b, kind="frozen"))
    return _merged(sorted(out, key=lambda d: d.start_s), least)


def _merged(dropouts: list[Dropout], pause_s: float) -> tuple[Dropout, ...]:
    """Dropouts with hardly a reading between them are one."""
    out: list[Dropout] = []
    for d in dropouts:
        if out and d.start_s - out[-1].end_s <= pause_s and d.kind == out[-1].kind:
            out[-1] = replace(out[-1], end_s=max(d.end_s, out[-1].end_s))
        else:
            out.append(d)
    return tuple(out)


def switched_off(
    readings: list[Reading], log: Log, gaps: list[tuple[float, float]]
) -> tuple[Span, ...]:
    """Ends of the recordings at which no supply voltage is on: before the switch, after it.

    Off means every supply below a fifth of its usual level, in a stretch that touches an end of
    a recording or a gap: in the air such a stretch has readings on both sides.
    """
    volts = [r for r in readings if r.channel.quantity is Quantity.VOLTAGE and not r.channel.hold]
    volts = [r for r in volts if r.size >= 3]
    if not volts:
        return ()
    time_s = log.time_s
    on = np.zeros(time_s.size, dtype=bool)
    known = np.zeros(time_s.size, dtype=bool)
    for r in volts:
        level = float(np.quantile(r.v, 0.75))
        held = sampling.held_at(r.t, r.v, time_s, np.inf)
        on |= held > max(0.2 * level, NO_SUPPLY_V)
        known |= np.isfinite(held)
    edges = [0.0, float(time_s[-1])]
    edges += [t for start, end in log.provenance.recordings for t in (start, end)]
    edges += [t for gap in gaps for t in gap]
    row = sampling.row_step(time_s)
    spans = []
    dark = known & ~on
    edge = np.diff(np.r_[False, dark, False].astype(np.int8))
    for a, b in zip(np.flatnonzero(edge == 1), np.flatnonzero(edge == -1), strict=True):
        start, end = float(time_s[a]), float(time_s[b - 1])
        if any(abs(start - e) <= 2 * row or abs(end - e) <= 2 * row for e in edges):
            # The ramp itself belongs to it: one reading more on each side.
            slack = max((r.update_s or row) for r in volts) * 1.5
            spans.append(Span(start_s=start - slack, end_s=end + slack))
    return tuple(spans)
