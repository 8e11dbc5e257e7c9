"""From which flight on a fault shows in the logged samples, to one who knows all that is true.

The oracle holds logged samples against the true signals of the same flight without its fault: what
servos would have drawn, what the packs would have given. So it needs no counterpart, no usual value
of the pilot and no clock of the sensors; what it cannot see, nobody can. Its errors are those of
the samples against the true signals with the fault, and the scatter of its value over flights that
are sound.
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
# A pack that is out is out at the end: so long before landing is looked at.
_LAST_S = 15.0
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


def _of_sums(
    x: FloatArray, weight: FloatArray, noise: FloatArray, at_s: FloatArray
) -> tuple[float, float]:
    """Sum of x over sum of weight, and its standard error by the noise that is in x.

    Noise of one block of the time is one number: neighbours share what moved between the instant
    that a sensor took and the one that it is held against.
    """
    total = float(weight.sum())
    return float(x.sum()) / total, _block_error(noise, at_s) / abs(total)


def _slope(
    x: FloatArray, y: FloatArray, noise: FloatArray, at_s: FloatArray
) -> tuple[float, float]:
    """Least-squares slope, and its standard error by the noise that is in y."""
    dx = x - x.mean()
    square = float(dx @ dx)
    # What a sensor is off by all the time is in no slope.
    apart = noise - noise.mean()
    return float(dx @ (y - y.mean())) / square, _block_error(dx * apart, at_s) / square


def _block_error(x: FloatArray, at_s: FloatArray) -> float:
    """Standard error of the sum of x from the scatter of its blocks."""
    _, number = np.unique((at_s / BLOCK_S).astype(int), return_inverse=True)
    sums = np.bincount(number, x)
    return float(np.std(sums, ddof=1) * np.sqrt(len(sums)))


def _current(fault: Fault, aircraft: Aircraft, r: Recording) -> Evidence | None:
    """Rise of the place's current, as a part of an average servo's."""
    key = f"{fault.place}/current"
    h = r.heard.get(key)
    if h is None:
        return None
    use = _active(r, h.taken_s)
    at, logged = h.taken_s[use], h.values[use]
    noise = logged - _then(r, r.flown.signals[key], at)
    ratio, error = _of_sums(logged, _then(r, r.sound.signals[key], at), noise, at)
    servos = 1 if fault.kind == "sensor-gain" else len(aircraft.node(fault.place).servos)
    limit = SERVO_PART if fault.kind == "servo-binding" else 0.0
    return Evidence(value=servos * (ratio - 1.0), error=servos * error, limit=limit)


def _heating(fault: Fault, aircraft: Aircraft, r: Recording) -> Evidence | None:
    """Rise of the second half of the flight over its first quarter, of an average servo."""
    key = f"{fault.place}/current"
    h = r.heard.get(key)
    if h is None:
        return None
    a, b = r.outing.flight
    parts = []
    for low, high in ((a, a + 0.25 * (b - a)), (a + 0.5 * (b - a), b)):
        use = (h.taken_s >= low) & (h.taken_s < high)
        if use.sum() < 20:
            return None
        at, logged = h.taken_s[use], h.values[use]
        noise = logged - _then(r, r.flown.signals[key], at)
        parts.append(_of_sums(logged, _then(r, r.sound.signals[key], at), noise, at))
    servos = len(aircraft.node(fault.place).servos)
    return Evidence(
        value=servos * (parts[1][0] - parts[0][0]),
        error=servos * float(np.hypot(parts[1][1], parts[0][1])),
        limit=SERVO_PART,
    )


def _lead(fault: Fault, r: Recording) -> Evidence | None:
    """Resistance of the lead by the true current and what the bus last told, Ohm."""
    bus, node = r.heard.get("bus/voltage"), r.heard.get(f"{fault.place}/voltage")
    if bus is None or node is None:
        return None
    last = np.searchsorted(bus.taken_s, node.taken_s, side="right") - 1
    use = last >= 0
    at, drop = node.taken_s[use], bus.values[last[use]] - node.values[use]
    s = r.flown.signals
    true = _then(r, s["bus/voltage"] - s[f"{fault.place}/voltage"], at)
    slope, error = _slope(_then(r, s[f"{fault.place}/current"], at), drop, drop - true, at)
    limit = max(LEAD_OHM, LEAD_PART * r.sound.lead_ohm[fault.place])
    return Evidence(value=slope, error=error, limit=limit)


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
    key = f"{fault.place}/voltage"
    h = r.heard.get(key)
    if h is None:
        return None
    number = int(fault.place.split()[-1]) - 1
    given, at = r.sound.supplied, h.taken_s
    fallen = _then(r, given.open_v[number], at) - h.values
    noise = _then(r, r.flown.signals[key], at) - h.values
    slope, error = _slope(_then(r, r.flown.supplied.pack_a[number], at), fallen, noise, at)
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
    return _level(r, "bus/voltage", h.taken_s[use], h.values[use], limit=SAG_V)


def _offset(fault: Fault, r: Recording) -> Evidence | None:
    """What the place's voltage lies below what it would, V."""
    h = r.heard.get(f"{fault.place}/voltage")
    if h is None:
        return None
    return _level(r, f"{fault.place}/voltage", h.taken_s, h.values, limit=0.0)


def _level(
    r: Recording, key: str, at_s: FloatArray, logged: FloatArray, *, limit: float
) -> Evidence:
    apart = _then(r, r.sound.signals[key], at_s) - logged
    noise = _then(r, r.flown.signals[key], at_s) - logged
    mean, error = _of_sums(apart, np.ones(len(apart)), noise, at_s)
    return Evidence(value=mean, error=error, limit=limit)


def _share(fault: Fault, r: Recording) -> Evidence | None:
    """The pack's part of the whole current at the end of the flight, less what it would give."""
    key = f"{fault.place}/current"
    h = r.heard.get(key)
    if h is None:
        return None
    end_s = r.outing.flight[1]
    use = (h.taken_s >= end_s - _LAST_S) & (h.taken_s < end_s)
    at, logged = h.taken_s[use], h.values[use]
    apart = logged - _then(r, r.sound.signals[key], at)
    noise = logged - _then(r, r.flown.signals[key], at)
    share, error = _of_sums(apart, _then(r, r.flown.signals["bus/current"], at), noise, at)
    return Evidence(value=share, error=error, limit=SHARE)
