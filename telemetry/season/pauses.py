"""Moments in which one unit fell silent in the air while the others went on reporting.

A unit whose supply breaks off for an instant starts anew, and says nothing until it has. A lost
radio link silences several places at once; values that stay as they are for a while look alike in a
log that repeats the last one. So the longest silence of each flight is kept, and only across
flights is it told whether one stands out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.channels import Quantity
from telemetry.log import FloatArray, Log
from telemetry.readings import Readings
from telemetry.season.measures import Measure
from telemetry.season.windows import Window
from telemetry.signals.sampling import is_sparse

# Quantities that bring news with nearly every update.
_LIVELY = (Quantity.VOLTAGE, Quantity.CURRENT)
_FEW = 100
# Usual steps that say nothing (ours).
_JITTER = 1.5


def silences(
    log: Log, readings: Readings, aircraft: Aircraft, air: Sequence[Window]
) -> list[Measure]:
    """The longest silence of each node's unit in the air while most others went on, s.

    Measure ``silence_s``; none for a node whose readings cannot tell.
    """
    places = [r.place for r in readings.of(Quantity.VOLTAGE)]
    news = {p: found for p in places if (found := _news(log, readings, p)).size >= _FEW}
    out = []
    for node in (n.name for n in aircraft.nodes if n.name in news):
        others = [found for place, found in news.items() if place != node]
        if not others:
            continue
        longest_s = max((_longest(news[node], others, window) for window in air), default=0.0)
        if longest_s > 0:
            out.append(Measure(place=node, feature="silence_s", value=longest_s, unit="s"))
    return out


def _news(log: Log, readings: Readings, place: str) -> FloatArray:
    """Instants at which a place brought news: readings, or where rows repeat them, new values."""
    found = [np.empty(0)]
    for r in readings.channels:
        if r.place == place and r.channel.quantity in _LIVELY and not r.channel.hold and r.size > 1:
            sparse = is_sparse(log.values(r.channel.key))
            found.append(r.t if sparse else r.t[1:][np.diff(r.v) != 0])
    return np.unique(np.concatenate(found))


def _longest(own: FloatArray, others: Sequence[FloatArray], window: Window) -> float:
    """The longest step between two news of a place, most others having brought some within it.

    At the least what jitter and a row missed make of the usual step.
    """
    t = own[(own >= window[0]) & (own < window[1])]
    if t.size < 2:
        return 0.0
    steps = np.diff(t)
    least_s = _JITTER * float(np.median(steps))
    for i in np.argsort(-steps, kind="stable"):
        went_on = [_between(other, float(t[i]), float(t[i + 1])) >= 2 for other in others]
        if 2 * sum(went_on) > len(others):
            return max(float(steps[i]), least_s)
    return least_s


def _between(t: FloatArray, start: float, end: float) -> int:
    return int(np.searchsorted(t, end, side="left") - np.searchsorted(t, start, side="right"))
