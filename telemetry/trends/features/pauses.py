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
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray, Log
from telemetry.numerics.sampling import is_sparse
from telemetry.readings import Readings
from telemetry.trends.features.windows import Window
from telemetry.trends.measures import Measure

# Quantities that bring news with nearly every update.
_LIVELY = (Quantity.VOLTAGE, Quantity.CURRENT)
_FEW = 100
# Usual steps that say nothing; how far around a silence the share of updates without news is
# taken, s; the least such share, for readings get lost (heuristic).
_JITTER, _AROUND_S, _LOST = 1.5, 20.0, 0.01


def silences(
    log: Log, readings: Readings, aircraft: Aircraft, air: Sequence[Window]
) -> list[Measure]:
    """The longest silence of each node's unit in the air while most others went on, s.

    Measures ``silence_s`` and ``silence_p``: the chance of one so long in this flight, if each
    update brought no news as often as those around it. None for a node whose readings cannot
    tell.
    """
    places = [r.place for r in readings.of(Quantity.VOLTAGE)]
    news = {p: _news(log, readings, p) for p in places}
    news = {p: found for p, found in news.items() if found[0].size >= _FEW and found[1] > 0}
    out = []
    for node in (n.name for n in aircraft.nodes if n.name in news):
        others = [t for place, (t, _) in news.items() if place != node]
        found = [_longest(*news[node], others, window) for window in air] if others else []
        if found and max(found)[0] > 0:
            longest_s, p = max(found)
            out.append(Measure(place=node, feature="silence_s", value=longest_s, unit="s"))
            out.append(Measure(place=node, feature="silence_p", value=p, unit=""))
    return out


def _news(log: Log, readings: Readings, place: str) -> tuple[FloatArray, float]:
    """Instants at which a place brought news, and its shortest update interval, s.

    News are readings, or where rows repeat them, new values.
    """
    found = [np.empty(0)]
    updates = []
    for r in readings.channels:
        if r.place == place and r.channel.quantity in _LIVELY and not r.channel.hold and r.size > 1:
            sparse = is_sparse(log.values(r.channel.key))
            found.append(r.t if sparse else r.t[1:][np.diff(r.v) != 0])
            updates.append(r.update_s or 0.0)
    return np.unique(np.concatenate(found)), min(updates, default=0.0)


def _longest(
    own: FloatArray, update_s: float, others: Sequence[FloatArray], window: Window
) -> tuple[float, float]:
    """The longest step between two news of a place within which most others brought some.

    With its chance. At the least what jitter and a row missed make of the usual step.
    """
    t = own[(own >= window[0]) & (own < window[1])]
    if t.size < 2:
        return 0.0, 1.0
    steps = np.diff(t)
    least_s = _JITTER * float(np.median(steps))
    for i in np.argsort(-steps, kind="stable"):
        a, b = float(t[i]), float(t[i + 1])
        if b - a <= least_s:
            break
        if 2 * sum(_between(other, a, b) >= 2 for other in others) > len(others):
            return b - a, _chance(t, a, b, update_s, window)
    return least_s, 1.0


def _chance(t: FloatArray, a: float, b: float, update_s: float, window: Window) -> float:
    """Chance that no update between two instants brought news, anywhere in the flight."""
    start, end = max(window[0], a - _AROUND_S), min(window[1], b + _AROUND_S)
    near = _between(t, start, end) - 1
    shares = (
        1.0 - near * update_s / max(end - start - (b - a), update_s),
        1.0 - t.size * update_s / (window[1] - window[0]),
    )
    quiet = float(np.clip(max(shares), _LOST, 1.0))
    missed = np.floor((b - a) / update_s) - 1.0
    return float(min(1.0, quiet**missed * (window[1] - window[0]) / update_s))


def _between(t: FloatArray, start: float, end: float) -> int:
    return int(np.searchsorted(t, end, side="left") - np.searchsorted(t, start, side="right"))
