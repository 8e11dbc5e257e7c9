"""An oracle that knows kind, place and flight of a fault: whether the logged samples show it.

Each flight gives the numbers that an expert would compare, worked out from the logged samples and
the true phases. The same season is flown a second time without the fault: how much these numbers
differ is what the fault does, how they scatter from flight to flight without it is what hides it.
It is slow and plain, judges the tool, and shares nothing with its detectors.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from telemetry.aircraft import Limits
from tests.accuracy.many_flights.drawing import Drawn, FlightLog, FloatArray, Span
from tests.accuracy.many_flights.kinds import KINDS
from tests.accuracy.one_log.seeing import blocks_of

_LIMITS = Limits()
#: Standard errors at which a lasting difference counts as seen.
SURE = 5.0
#: Scatter of a number from flight to flight, at least: a hundredth of its usual size or of a log.
_LEAST_SCATTER = 0.003
_LEAST_A = 0.005
#: Samples this long after a moment may still be of it, s: a reading is written when its turn comes.
_HELD_S = 1.5
#: And so long its unit may be silent after one, s.
_BOOT_S = 8.0
#: Moments that show in the samples, which make a contact or a lost supply seen.
_MOMENTS = 1

Look = dict[str, float]


@dataclass(frozen=True, kw_only=True)
class Sight:
    """What the oracle saw: standard errors of the clearest number, and its size."""

    sure: float = 0.0
    size: float = 0.0

    @property
    def visible(self) -> bool:
        """Whether an expert who knew where to look would see it."""
        return self.sure >= SURE


def looks(drawn: Drawn, log: FlightLog) -> Look:
    """The numbers of one flight in which a fault of this kind would show."""
    if not drawn.kind or drawn.visible is not None:
        return {}
    found: Look = {}
    log = _with_whole(log)
    for place in drawn.places:
        own = dict(_LOOKS[KINDS[drawn.kind].sight](drawn, log, place))
        found |= {f"{place} {name}": x for name, x in own.items() if np.isfinite(x)}
    return found


def sight_of(drawn: Drawn, own: Sequence[Look], twin: Sequence[Look]) -> Sight:
    """How clearly a season shows its fault, by the clearest of its numbers.

    Parameters
    ----------
    drawn : Drawn
    own, twin : sequence of dict
        What :func:`looks` gave of each flight of the season, and of the same without the fault.
    """
    if not drawn.kind or drawn.counts is None:
        return Sight()
    if drawn.visible is not None:
        return Sight(sure=SURE if drawn.visible else 0.0, size=float(len(drawn.visible)))
    until = len(own) if drawn.gone is None else drawn.gone - 1
    with_it = range(drawn.counts - 1, min(until, len(own)))
    best = Sight()
    for name in {n for look in own for n in look}:
        if name.endswith("moments"):
            seen = sum(own[k].get(name, 0.0) for k in with_it)
            best = max(best, Sight(sure=SURE * seen / _MOMENTS, size=seen), key=_by_sure)
            continue
        sound = np.array([look.get(name, np.nan) for look in twin])
        moved = [own[k][name] - sound[k] for k in with_it if name in own[k]]
        moved = [m for m in moved if np.isfinite(m)]
        sound = sound[np.isfinite(sound)]
        before = sum(name in own[k] for k in range((drawn.onset or 1) - 1))
        if not moved or sound.size < 4 or before < 3:
            continue
        scatter = max(float(sound.std(ddof=1)), _LEAST_SCATTER * max(1.0, abs(sound.mean())))
        error = scatter * np.sqrt(1.0 / len(moved) + 1.0 / before)
        size = float(np.mean(moved))
        best = max(best, Sight(sure=abs(size) / error, size=size), key=_by_sure)
    return best


def _by_sure(s: Sight) -> float:
    return s.sure


Numbers = Iterator[tuple[str, float]]


def _mean(log: FlightLog, place: str, quantity: str, spans: Sequence[Span]) -> float:
    """Mean of the samples within some stretches; NaN where there are none."""
    t, x = log.logged.get((place, quantity), (np.empty(0), np.empty(0)))
    keep = np.zeros(t.size, dtype=bool)
    for start, end in spans:
        keep |= (t >= start) & (t < end)
    return float(x[keep].mean()) if keep.sum() >= 5 else float("nan")


def _with_whole(log: FlightLog) -> FlightLog:
    """With the whole current, where only the packs tell it."""
    packs = [log.logged[key] for key in log.logged if key[0] in _packs(log) and key[1] == "current"]
    if ("bus", "current") in log.logged or not packs:
        return log
    t = packs[0][0]
    whole = np.sum([np.interp(t, *p) for p in packs], axis=0)
    return replace(log, logged={**log.logged, ("bus", "current"): (t, whole)})


def _rests(log: FlightLog) -> list[Span]:
    """Some seconds before the first stir or take-off, in which nothing moves."""
    first = min((s[0] for s in (*log.stirs, *log.air)), default=0.0)
    return [(max(0.0, first - 8.0), first - 0.5)]


def _mirror(place: str, nodes: Sequence[str]) -> str | None:
    words = {"left": "right", "right": "left"}
    other = " ".join(words.get(w, w) for w in place.split(" "))
    return other if other != place and other in nodes else None


def _beside(drawn: Drawn, log: FlightLog, place: str, spans: Sequence[Span]) -> float:
    """Logarithm of a place's current over that of its mirror, else of all others, else alone."""
    nodes = list(drawn.parents)
    mirror = _mirror(place, nodes)
    others = [mirror] if mirror else [n for n in nodes if n != place]
    own = _mean(log, place, "current", spans)
    theirs = [_mean(log, n, "current", spans) for n in others]
    known = [x for x in theirs if np.isfinite(x)]
    below = sum(known) if known else 1.0
    return float(np.log(max(own, _LEAST_A) / max(below, _LEAST_A))) if np.isfinite(own) else own


def _current(drawn: Drawn, log: FlightLog, place: str) -> Numbers:
    yield "stir", _beside(drawn, log, place, log.stirs)
    yield "air", _beside(drawn, log, place, log.air)
    yield "rest", _beside(drawn, log, place, _rests(log))


def _climb(drawn: Drawn, log: FlightLog, place: str) -> Numbers:
    if log.air:
        start, end = log.air[0]
        third = (end - start) / 3.0
        early = _beside(drawn, log, place, [(start, start + third)])
        yield "climb", _beside(drawn, log, place, [(end - third, end)]) - early
    # A cold servo that draws as usual and a warm one that draws more: the whole flight says so too.
    yield "air", _beside(drawn, log, place, log.air) - _beside(drawn, log, place, log.stirs)


def _blocks(log: FlightLog, place: str, quantity: str, edges: FloatArray) -> FloatArray | None:
    return blocks_of(log.logged, place, quantity, edges)


def _slope(x: FloatArray | None, *y: FloatArray | None, charge: bool = False) -> float:
    """Slope of the first of two series, less the second, against a current, mOhm."""
    if x is None or any(s is None for s in y):
        return float("nan")
    fall = y[0] if len(y) == 1 else y[0] - y[1]  # type: ignore[operator]
    good = np.isfinite(x) & np.isfinite(fall)
    if good.sum() < 12 or np.ptp(x[good]) < 0.05:
        return float("nan")
    columns = [x[good], np.ones(int(good.sum()))]
    if charge:
        drawn = np.cumsum(np.nan_to_num(x))[good]
        columns += [drawn, drawn**2]
    return 1000.0 * float(np.linalg.lstsq(np.column_stack(columns), fall[good], rcond=None)[0][0])


def _edges(log: FlightLog) -> FloatArray:
    start, end = log.air[0] if log.air else (0.0, 60.0)
    return np.arange(start, end, 4.0)


def _lead(drawn: Drawn, log: FlightLog, place: str) -> Numbers:
    edges, parent = _edges(log), drawn.parents.get(place, "bus")
    amps = _blocks(log, place, "current", edges)
    own = amps is not None
    amps = _blocks(log, "bus", "current", edges) if amps is None else amps
    high, low = (_blocks(log, p, "voltage", edges) for p in (parent, place))
    yield "slope", _slope(amps, high, low)
    current = place if own else "bus"
    drop = _mean(log, parent, "voltage", log.air) - _mean(log, place, "voltage", log.air)
    rest = [_mean(log, p, "voltage", _rests(log)) for p in (parent, place)]
    more = _mean(log, current, "current", log.air) - _mean(log, current, "current", _rests(log))
    yield "drop", 1000.0 * (drop - rest[0] + rest[1]) / max(more, 0.05)


def _packs(log: FlightLog) -> list[str]:
    return sorted({p for p, q in log.logged if p.startswith("pack") and q == "voltage"})


def _pack(drawn: Drawn, log: FlightLog, place: str) -> Numbers:
    edges = _edges(log)
    own = _blocks(log, place, "current", edges)
    volts, bus = (_blocks(log, p, "voltage", edges) for p in (place, "bus"))
    for name, amps in (("own", own), ("whole", _blocks(log, "bus", "current", edges))):
        yield f"cells {name}", _slope(amps, None if volts is None else -volts, charge=True)
        yield f"path {name}", _slope(amps, volts, bus)
        yield f"all {name}", _slope(amps, None if bus is None else -bus, charge=True)
    others = [_mean(log, p, "current", log.air) for p in _packs(log) if p != place]
    if others and np.isfinite(others).all():
        mine = max(_mean(log, place, "current", log.air), _LEAST_A)
        yield "share", float(np.log(mine / max(sum(others), _LEAST_A)))


def _out(drawn: Drawn, log: FlightLog, place: str) -> Numbers:
    """After it opened a pack gives nothing while the other gives."""
    shown = 0
    for start, _ in log.moments:
        after = [(start + 2.0, log.air[-1][1])] if log.air else []
        before = [(log.air[0][0], start)] if log.air else []
        now, was = (_mean(log, place, "current", s) for s in (after, before))
        shown += bool(now < 0.1 * was and was > 0.1)
    yield "moments", float(shown)


def _offset(drawn: Drawn, log: FlightLog, place: str) -> Numbers:
    parent = drawn.parents.get(place, "bus")
    for name, spans in (("rest", _rests(log)), ("air", log.air)):
        yield name, _mean(log, parent, "voltage", spans) - _mean(log, place, "voltage", spans)


def _gain(drawn: Drawn, log: FlightLog, place: str) -> Numbers:
    """A place's reading against what the balance leaves for it, and against the drop it makes."""
    own, total = (_mean(log, p, "current", log.air) for p in (place, "bus"))
    rest = [_mean(log, n, "current", log.air) for n in drawn.parents if n != place]
    if np.isfinite(total):
        yield "balance", own / max(total - sum(rest), _LEAST_A)
    parent = drawn.parents.get(place, "bus")
    drops = []
    for p in (parent, place):
        drops.append(_mean(log, p, "voltage", log.air) - _mean(log, p, "voltage", _rests(log)))
    if drops[0] - drops[1] > 0.02:
        yield "drop", float(np.log(max(own, _LEAST_A) / (drops[0] - drops[1])))


def _moments(drawn: Drawn, log: FlightLog, place: str) -> Numbers:
    """Moments of which a logged sample lies below what its neighbours and the feeding place say.

    Or after which a counter of the place began again; of a bus also one of its packs.
    """
    parent = drawn.parents.get(place)
    shown = 0
    for start, end in log.moments:
        begun = any(
            start < at < end + 30.0
            for key in log.logged
            if key[1] in ("uptime", "consumed") and (key[0] == place or parent is None)
            for at in _fallen(*log.logged[key])
        )
        low = (_lies_low(log, place, parent, q, start, end) for q in ("voltage", "lowest"))
        shown += begun or any(low)
    yield "moments", float(shown)


def _lies_low(
    log: FlightLog, place: str, parent: str | None, quantity: str, start: float, end: float
) -> bool:
    """Whether a sample of a moment lies below what those around it and the feeding place say."""
    t, volts = log.logged.get((place, quantity), (np.empty(0), np.empty(0)))
    if t.size < 20:
        return False
    usual = float(np.median(volts))
    level = np.full(t.size, usual)
    if parent is not None and (parent, "voltage") in log.logged:
        level = np.interp(t, *log.logged[parent, "voltage"])
    inside = (t >= start) & (t < end + _HELD_S)
    # A unit that starts anew says nothing, and rows repeat its last reading.
    near = (np.abs(t - start) < 20.0) & ~((t >= start) & (t < end + _BOOT_S))
    if not inside.any() or near.sum() < 5:
        return False
    under = level - volts
    size = float(under[inside].max() - np.median(under[near]))
    limit = max(_LIMITS.sag_pct / 100.0 * usual, _LIMITS.sag_v)
    return size >= max(limit, SURE * (float(under[near].std()) + 0.005))


def _fallen(t: FloatArray, x: FloatArray) -> FloatArray:
    return np.asarray(t[1:][np.diff(x) < 0])


_LOOKS: dict[str, Callable[[Drawn, FlightLog, str], Numbers]] = {
    "current": _current,
    "climb": _climb,
    "lead": _lead,
    "pack": _pack,
    "out": _out,
    "offset": _offset,
    "gain": _gain,
    "moments": _moments,
}
