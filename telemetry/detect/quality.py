"""What the log can and cannot show: intervals, gaps, restarts, balance, the shortest sure dip."""

from __future__ import annotations

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.detect.restarts import find_restarts
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log
from telemetry.numerics.baseline import MAD_TO_SIGMA
from telemetry.readings import Reading, Readings, block_means, total_current
from telemetry.results import ColumnUse, Quality

# The total and the nodes are compared over blocks this long, s (heuristic).
_BLOCK_S = 2.0
USED = frozenset(
    {
        Quantity.TIME,
        Quantity.VOLTAGE,
        Quantity.CURRENT,
        Quantity.CONSUMED,
        Quantity.UPTIME,
        Quantity.CONTROL,
        Quantity.ALTITUDE,
        Quantity.SPEED,
        Quantity.RPM,
    }
)


def judge_quality(log: Log, readings: Readings, aircraft: Aircraft) -> Quality:
    """Quality of a log: see :class:`telemetry.results.Quality` for what it holds."""
    volts = [r.update_s for r in readings.of(Quantity.VOLTAGE) if r.update_s is not None]
    balance, spread = current_balance(readings, aircraft)
    return Quality(
        row_s=_finite(readings.row_s),
        shortest_sure_dip_s=max(volts) if volts else None,
        gaps=readings.gaps,
        restarts=find_restarts(log, readings),
        dropouts=readings.dropouts,
        spurious=readings.spurious,
        balance_a=balance,
        balance_spread_a=spread,
    )


def columns_used(log: Log, readings: Readings) -> tuple[ColumnUse, ...]:
    """Every column of the file with its reading, update interval, resolution and use."""
    by_key = {r.channel.key: r for r in readings.channels}
    return tuple(_column(c, by_key.get(c.key)) for c in log.channels)


def _column(c: Channel, r: Reading | None) -> ColumnUse:
    return ColumnUse(
        column=c.column,
        key=c.key,
        quantity=str(c.quantity),
        place=c.place,
        label=c.label,
        unit=c.unit,
        reason=c.reason,
        hold=c.hold,
        update_s=None if r is None else r.update_s,
        resolution=None if r is None else r.resolution,
        used=c.quantity in USED and (c.quantity is Quantity.TIME or (r is not None and r.size > 0)),
    )


def current_balance(readings: Readings, aircraft: Aircraft) -> tuple[float | None, float | None]:
    """Total current less the sum of the nodes, over blocks: median and scaled MAD, A.

    Only nodes fed straight from the root count: a profile may list the bus itself, or a node that
    hangs on another and whose current that other reports already.
    """
    below = [n.name for n in aircraft.nodes if n.name != aircraft.root]
    if aircraft.root is not None:
        below = [name for name in below if aircraft.parent(name) == aircraft.root]
    nodes = [readings.get(Quantity.CURRENT, name) for name in below]
    known = [r for r in nodes if r is not None and r.size >= 10]
    total = total_current(readings, aircraft)
    if total is None or len(known) < 2 or len(known) < len(below):
        return None, None
    # Blocks with a reading of the total; what lies between two of them is one empty block.
    block = np.unique((total.t - readings.start_s) // _BLOCK_S)
    edges = readings.start_s + _BLOCK_S * np.union1d(block, block + 1)
    rest = block_means(total[0], total[1], edges)
    for r in known:
        rest = rest - block_means(r.t, r.v, edges)
    rest = rest[np.isfinite(rest)]
    if rest.size < 5:
        return None, None
    middle = float(np.median(rest))
    return middle, float(MAD_TO_SIGMA * np.median(np.abs(rest - middle)))


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
