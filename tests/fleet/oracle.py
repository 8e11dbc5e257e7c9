"""From which flight on a fault shows in the logged samples, to one who knows all that is true.

The oracle holds logged samples against the true signals of the same flight without its fault: what
servos would have drawn, what the packs would have given. So it needs no counterpart, no usual value
of the pilot and no clock of the sensors; what it cannot see, nobody can. Its errors are those of
the samples: scatter of blocks of the flight, and scatter from flight to flight before the onset.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tests.fleet.aircraft import Aircraft
from tests.fleet.faults import Fault

if TYPE_CHECKING:
    from tests.fleet.season import Recording

FloatArray = NDArray[np.float64]

SIGMAS = 5.0
BLOCK_S = 5.0
# Limits that the program states (telemetry/guide/limits.md), in the unit of the evidence: a part of
# an average servo's current, Ohm and a part of the lead, V, a share.
SERVO_PART = 0.25
LEAD_OHM, LEAD_PART = 0.008, 0.20
SAG_V, SAG_PART = 0.25, 0.05
SHARE = 0.15


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What one flight's samples say of one fault: a value, its standard error, its limit.

    ``value`` is 0 where all is sound, but for errors that a sensor has all season.
    """

    value: float
    error: float
    limit: float


def evidence(fault: Fault | None, aircraft: Aircraft, r: Recording) -> Evidence | None:
    """The evidence of one flight; None where nothing that was logged could hold any."""
    if fault is None:
        return None
    kind = fault.kind
    if kind in ("servo-binding", "servo-silent", "sensor-gain"):
        return _current(fault, aircraft, r)
    if kind.startswith("servo-heating"):
        return _heating(fault, aircraft, r)
    if kind == "connector":
        return _lead(fault, r)
    if kind in ("contact", "supply-dips"):
        return _falls(fault, r)
    if kind in ("packs-ageing", "pack-weak", "pack-set-weak"):
        return _source(fault, r)
    if kind == "regulator-droop":
        return _droop(r)
    if kind == "sensor-offset":
        return _offset(fault, r)
    return _share(fault, r)


def visible_flights(
    fault: Fault, seen: Sequence[Evidence | None], levels: Sequence[float]
) -> tuple[int, ...]:
    """Flights, from 1, that show the fault at five standard errors and above its limit."""
    usual = [e for e, x in zip(seen, levels, strict=True) if x == 0.0 and e is not None]
    onset = next((i for i, x in enumerate(levels) if x > 0.0), len(levels))
    before = [e.value for e in seen[:onset] if e is not None]
    if len(before) < 3:
        return ()
    mean, scatter = float(np.mean(before)), float(np.std([e.value for e in usual], ddof=1))
    found = []
    for flight, (e, level) in enumerate(zip(seen, levels, strict=True), 1):
        if e is None or level == 0.0:
            continue
        error = np.sqrt(e.error**2 + scatter**2 * (1.0 + 1.0 / len(before)))
        if abs(e.value - mean) >= max(SIGMAS * error, e.limit):
            found.append(flight)
    return tuple(found)


def _active(r: Recording, at_s: FloatArray) -> NDArray[np.bool_]:
    spans = [*r.outing.stirs, r.outing.flight]
    return np.any([(at_s >= a) & (at_s < b) for a, b in spans], axis=0)


def _then(r: Recording, signal: FloatArray, at_s: FloatArray) -> FloatArray:
    return np.asarray(np.interp(at_s, r.outing.time_s, signal))


def _mean_of_blocks(x: FloatArray, weight: FloatArray, at_s: FloatArray) -> tuple[float, float]:
    """Sum of x over sum of weight, and its standard error from blocks of the time."""
    block = (at_s / BLOCK_S).astype(int)
    _, number = np.unique(block, return_inverse=True)
    tops, bottoms = np.bincount(number, x), np.bincount(number, weight)
    ratio = float(tops.sum() / bottoms.sum())
    rest = tops - ratio * bottoms
    n = len(tops)
    error = np.sqrt(n / max(n - 1, 1) * np.sum(rest**2)) / abs(float(bottoms.sum()))
    return ratio, float(error)


def _current(fault: Fault, aircraft: Aircraft, r: Recording) -> Evidence | None:
    """Rise of the place's current, as a part of an average servo's."""
    h = r.heard.get(f"{fault.place}/current")
    if h is None:
        return None
    use = _active(r, h.taken_s)
    sound = _then(r, r.sound.signals[f"{fault.place}/current"], h.taken_s[use])
    ratio, error = _mean_of_blocks(h.values[use], sound, h.taken_s[use])
    servos = 1 if fault.kind == "sensor-gain" else len(aircraft.node(fault.place).servos)
    limit = SERVO_PART if fault.kind == "servo-binding" else 0.0
    return Evidence(value=servos * (ratio - 1.0), error=servos * error, limit=limit)


def _heating(fault: Fault, aircraft: Aircraft, r: Recording) -> Evidence | None:
    """Rise of the second half of the flight over its first quarter, of an average servo."""
    h = r.heard.get(f"{fault.place}/current")
    if h is None:
        return None
    a, b = r.outing.flight
    parts = []
    for low, high in ((a, a + 0.25 * (b - a)), (a + 0.5 * (b - a), b)):
        use = (h.taken_s >= low) & (h.taken_s < high)
        if use.sum() < 20:
            return None
        sound = _then(r, r.sound.signals[f"{fault.place}/current"], h.taken_s[use])
        parts.append(_mean_of_blocks(h.values[use], sound, h.taken_s[use]))
    servos = len(aircraft.node(fault.place).servos)
    return Evidence(
        value=servos * (parts[1][0] - parts[0][0]),
        error=servos * float(np.hypot(parts[1][1], parts[0][1])),
        limit=SERVO_PART,
    )


def _drop(fault: Fault, r: Recording) -> tuple[FloatArray, FloatArray] | None:
    """Instants and logged drops of a lead: what the bus last told, less what the place tells."""
    bus, node = r.heard.get("bus/voltage"), r.heard.get(f"{fault.place}/voltage")
    if bus is None or node is None:
        return None
    last = np.searchsorted(bus.taken_s, node.taken_s, side="right") - 1
    use = last >= 0
    return node.taken_s[use], bus.values[last[use]] - node.values[use]


def _lead(fault: Fault, r: Recording) -> Evidence | None:
    """Resistance of the lead by the true current, Ohm."""
    drop = _drop(fault, r)
    if drop is None:
        return None
    at, volts = drop
    amps = _then(r, r.flown.signals[f"{fault.place}/current"], at)
    slope, error = _slope(amps, volts, at)
    lead = float(np.mean(r.sound.lead_ohm[fault.place]))
    return Evidence(value=slope, error=error, limit=max(LEAD_OHM, LEAD_PART * lead))


def _slope(x: FloatArray, y: FloatArray, at_s: FloatArray) -> tuple[float, float]:
    """Least-squares slope, and its standard error from blocks of the time."""
    dx, dy = x - x.mean(), y - y.mean()
    slope = float(dx @ dy / (dx @ dx))
    _, number = np.unique((at_s / BLOCK_S).astype(int), return_inverse=True)
    pulls = np.bincount(number, dx * (dy - slope * dx))
    return slope, float(np.sqrt(np.sum(pulls**2)) / (dx @ dx))


def _falls(fault: Fault, r: Recording) -> Evidence | None:
    """Samples that lie below what the sound path would show, by five errors and a sag's depth."""
    h = r.heard.get(f"{fault.place}/voltage")
    if h is None:
        return None
    sound = _then(r, r.sound.signals[f"{fault.place}/voltage"], h.taken_s)
    apart = sound - h.values
    apart = apart - np.median(apart)
    spread = 1.4826 * float(np.median(np.abs(apart))) + r.rig.sensors[0].step / np.sqrt(12.0)
    least = max(SIGMAS * spread, SAG_V, SAG_PART * float(np.median(sound)))
    # One sample alone is nothing that anybody should act on.
    return Evidence(value=float(np.sum(apart >= least)), error=0.0, limit=2.0)


def _source(fault: Fault, r: Recording) -> Evidence | None:
    """Resistance of the pack by its true current, as a part of what it has when sound."""
    h = r.heard.get(f"{fault.place}/voltage")
    if h is None:
        return None
    number = int(fault.place.split()[-1]) - 1
    given = r.sound.supplied
    fallen = _then(r, given.open_v[number], h.taken_s) - h.values
    amps = _then(r, r.flown.supplied.pack_a[number], h.taken_s)
    slope, error = _slope(amps, fallen, h.taken_s)
    sound_a = given.pack_a[number]
    usual = given.open_v[number] - given.pack_v[number]
    ohm = float(sound_a @ usual / (sound_a @ sound_a))
    return Evidence(value=slope / ohm, error=error / ohm, limit=0.0)


def _droop(r: Recording) -> Evidence | None:
    """How far the bus lies below what it would, in the tenth of the samples of most load, V."""
    h = r.heard.get("bus/voltage")
    if h is None:
        return None
    load = _then(r, r.sound.signals["bus/current"], h.taken_s)
    use = load >= np.quantile(load, 0.9)
    apart = _then(r, r.sound.signals["bus/voltage"], h.taken_s[use]) - h.values[use]
    mean, error = _mean_of_blocks(apart, np.ones(len(apart)), h.taken_s[use])
    return Evidence(value=mean, error=error, limit=SAG_V)


def _offset(fault: Fault, r: Recording) -> Evidence | None:
    """What the place's voltage differs by, V."""
    h = r.heard.get(f"{fault.place}/voltage")
    if h is None:
        return None
    apart = h.values - _then(r, r.sound.signals[f"{fault.place}/voltage"], h.taken_s)
    mean, error = _mean_of_blocks(apart, np.ones(len(apart)), h.taken_s)
    return Evidence(value=mean, error=error, limit=0.0)


def _share(fault: Fault, r: Recording) -> Evidence | None:
    """The pack's part of the whole current while it flies."""
    h = r.heard.get(f"{fault.place}/current")
    if h is None:
        return None
    use = _active(r, h.taken_s)
    total = _then(r, r.flown.signals["bus/current"], h.taken_s[use])
    share, error = _mean_of_blocks(h.values[use], total, h.taken_s[use])
    return Evidence(value=share, error=error, limit=SHARE)
