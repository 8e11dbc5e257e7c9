"""Counters that begin again, and whether their unit fell silent before: a restart, or a reset."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.model.channels import COUNTERS, PlaceKind, Quantity
from telemetry.model.log import FloatArray, Log
from telemetry.numerics import sampling
from telemetry.readings import OF_TRANSMITTER, Reading, Readings
from telemetry.results import Restart

_MAIN = (PlaceKind.PACK, PlaceKind.BUS, PlaceKind.REGULATOR)
_CLOCK = "the clock of the file"
# A unit that reported closer than this all the time did not restart (common practice, no source:
# from losing the supply to the first report takes it half a second to several).
_SHORTEST_BOOT_S = 0.5
# Several parameters take turns: a counter comes this long after its unit is back, and those of one
# unit within this of one another (heuristic).
_TURNS_S = 3.0
# A pause so many times the longest usual one of the last minute is a silence (heuristic).
_SILENT, _USUAL_S, _FEWEST = 2.0, 60.0, 20
# A counter began anew if it fell to less than this part (heuristic).
_ANEW = 0.05
# From the dip that restarted a unit to its first report it takes at most so long, and a clock begun
# anew shows no more (common practice, no source: a unit boots within seconds).
BOOT_S = 15.0
# Where counters end: registers of so many bits and decimal displays; clocks after a minute, an hour
# or a day, and registers that count seconds or parts of them (common practice, no source).
_ENDS = (*(2.0**n for n in (8, 10, 12, 15, 16, 24, 31, 32)), *(10.0**n for n in range(3, 7)))
_CLOCK_ENDS = (
    *(60.0, 3600.0, 86400.0, 2.0**8),
    *(2.0**n / parts for n in (16, 24, 32) for parts in (1, 10, 100, 1000)),
)
# Its pace is that of so many readings before (heuristic).
_PACE = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitRestart:
    """Counters of one unit that began again together.

    Attributes
    ----------
    time_s : float
    place : str
        The unit; the bus for the main one, which keeps the packs' counters.
    counters : tuple of Restart
    sure : bool
        The unit itself restarted: it fell silent and began anew, or its clock did where a silence
        cannot be excluded. Charge alone may be reset by hand, of all packs at once.
    excluded : bool
        It did not: it reported all the time, too closely for a boot, or another of its counters
        ran on.
    ran_over : bool
        All its counters came to their end and went on from zero.
    """

    time_s: float
    place: str
    counters: tuple[Restart, ...]
    sure: bool
    excluded: bool
    ran_over: bool

    @property
    def first(self) -> Restart:
        """The counter that was seen first."""
        return self.counters[0]

    @property
    def silent_s(self) -> float | None:
        """How long the unit was silent before, where that is known, s."""
        return max((r.silent_s for r in self.counters if r.silent_s), default=None)


def find_restarts(log: Log, readings: Readings) -> tuple[Restart, ...]:
    """Counters that fall, and clocks of the file that begin again.

    A counter restarts where it falls by over half of what it held and by more than two
    resolution steps, and does not come back with the next readings: a single low reading between
    two like ones is no restart.
    """
    counters = [
        r
        for r in readings.channels
        if r.channel.quantity in COUNTERS and not r.channel.hold and r.size >= 3
    ]
    out: list[Restart] = []
    for r in counters:
        falls = counter_falls(r)
        news = place_news(log, readings, r.place) if falls else np.empty(0)
        for i in falls:
            at = float(r.t[i])
            out.append(
                Restart(
                    time_s=at,
                    place=r.channel.place,
                    column=r.channel.column,
                    before=float(r.v[i - 1]),
                    after=float(r.v[i]),
                    clock=r.channel.quantity is Quantity.UPTIME,
                    silent_s=silence(news, at, max(_TURNS_S, 2.0 * (r.update_s or 0.0))),
                    ran_on=tuple(dict.fromkeys(o.place for o in counters if counter_ran_on(o, at))),
                    ran_over=counter_ran_over(r, i),
                )
            )
    for start, _ in log.provenance.recordings[1:]:
        out.append(Restart(time_s=start, place=None, column=_CLOCK, before=start, after=0))
    return tuple(sorted(out, key=lambda x: (x.time_s, x.place or "")))


def counter_falls(r: Reading) -> list[int]:
    """Readings at which a counter fell to below half of what it was, and stayed down."""
    step = 2.0 * (r.resolution or 0.0)
    fall = r.v[:-1] - r.v[1:]
    found = []
    for i in np.flatnonzero((fall > step) & (np.abs(r.v[1:]) < 0.5 * np.abs(r.v[:-1]))) + 1:
        after = r.v[i : i + 3]
        if after.size > 1 and after[1:].max() >= r.v[i - 1] - step:
            continue
        found.append(int(i))
    return found


def counter_ran_over(r: Reading, i: int) -> bool:
    """Whether a counter at its usual pace had come to its end, and shows now what lies beyond it.

    One that began anew after a restart shows nothing of the time between.
    """
    t, v = r.t[max(0, i - _PACE) : i], r.v[max(0, i - _PACE) : i]
    rises = np.maximum(np.diff(v), 0.0)
    if not rises.any():
        return False
    ahead = float(r.t[i] - t[-1]) * float(rises.sum()) / float(t[-1] - t[0])
    # A pace that changes takes it half a reading further or less far.
    near = 1.5 * float(rises.max()) + 2.0 * (r.resolution or 0.0)
    before, after = float(v[-1]), float(r.v[i])
    ends = _CLOCK_ENDS if r.channel.quantity is Quantity.UPTIME else _ENDS
    return after >= 0.0 and any(
        before <= end and abs(before + ahead - after - end) <= near for end in ends
    )


def counter_ran_on(r: Reading, time_s: float) -> bool:
    """Whether a counter held something before an instant, and no less after it."""
    held = int(np.searchsorted(r.t, time_s - _TURNS_S))
    first, last = np.searchsorted(r.t, [time_s, time_s + 2 * BOOT_S], side="right")
    before, after = r.v[:held], r.v[first:last]
    return bool(before.size and after.size and before[-1] > 0 and after.min() >= before[-1])


def place_news(log: Log, readings: Readings, place: str) -> FloatArray:
    """Instants at which anything of a place changed or was sent, s.

    A held value is no news: a unit that restarts is silent, whatever the rows repeat.
    """
    told = np.zeros(log.time_s.size, dtype=bool)
    for r in readings.channels:
        quantity = r.channel.quantity
        if r.place != place or quantity in OF_TRANSMITTER or quantity is Quantity.UNKNOWN:
            continue
        values = log.values(r.channel.key)
        sparse = sampling.is_sparse(values)
        rows = np.flatnonzero(np.isfinite(values)) if sparse else sampling.change_rows(values)
        told[rows] = True
    return np.unique(log.time_s[told])


def silence(news: FloatArray, time_s: float, reach_s: float) -> float | None:
    """How long a unit was silent before its counter began again, s.

    Returns
    -------
    float or None
        0 where it reported too closely for a boot; None where pauses as long as one are usual, so
        that the log cannot tell.
    """
    steps, ends = np.diff(news), news[1:]
    just = (ends > time_s - reach_s) & (ends <= time_s + 1e-6)
    if not just.any():
        return None
    longest = float(steps[just].max())
    if longest < _SHORTEST_BOOT_S:
        return 0.0
    usual = steps[(ends <= time_s - reach_s) & (ends > time_s - _USUAL_S)]
    later = steps[(ends > time_s + 1e-6) & (ends <= time_s + _USUAL_S)]
    if usual.size < _FEWEST or later.size == 0:
        return None
    # A logger that writes slower from here on was not silent: it has another pace.
    pause = max(float(np.quantile(usual, 0.98)), float(np.quantile(later, 0.98)))
    if longest < _SILENT * pause:
        return None
    return longest


def unit_restarts(restarts: Sequence[Restart], aircraft: Aircraft) -> tuple[UnitRestart, ...]:
    """Restarts of counters put together by unit, with what they say of the unit.

    Parameters
    ----------
    restarts : sequence of Restart
        Those of the file's clock are passed over.
    aircraft : Aircraft
        Its bus is the place of the main unit.
    """
    groups: list[list[Restart]] = []
    for r in sorted((r for r in restarts if r.column != _CLOCK), key=lambda r: r.time_s):
        same = [g for g in groups[-3:] if _one(g[0], r, aircraft)]
        if same:
            same[-1].append(r)
        else:
            groups.append([r])
    return tuple(_unit(group, aircraft) for group in groups)


def _one(a: Restart, b: Restart, aircraft: Aircraft) -> bool:
    """Whether two began again together in one unit: the main one keeps packs, bus, regulator."""
    mains = _of_main(a.place, aircraft) and _of_main(b.place, aircraft)
    return b.time_s - a.time_s <= _TURNS_S and (a.place == b.place or mains)


def _of_main(place: str | None, aircraft: Aircraft) -> bool:
    return place is None or aircraft.kind(place) in _MAIN


def _unit(group: list[Restart], aircraft: Aircraft) -> UnitRestart:
    first = group[0]
    places = {r.place for r in group}
    own = first.place if len(places) == 1 else None
    # One pack's counter began again and another place's of the main unit ran on: it has a unit of
    # its own.
    apart = own is not None and any(p != own and _of_main(p, aircraft) for p in first.ran_on)
    main = _of_main(first.place, aircraft) and not apart
    begun = [r for r in group if _anew(r)]
    silent = [r.silent_s for r in group]
    told = any(p in places for r in group for p in r.ran_on)
    excluded = told or all(s == 0.0 for s in silent)
    # Where a clock stands now tells that it ran through a silence; a charge tells no such thing.
    ran_over = all(r.ran_over and (r.clock or not r.silent_s) for r in group)
    anew = any(r.clock for r in begun) or any(silent)
    return UnitRestart(
        time_s=first.time_s,
        place=(aircraft.bus or first.place or "bus") if main else (first.place or ""),
        counters=tuple(group),
        sure=bool(begun) and not excluded and not ran_over and anew,
        excluded=excluded,
        ran_over=ran_over,
    )


def _anew(r: Restart) -> bool:
    least = _ANEW * abs(r.before)
    return abs(r.after) <= (max(BOOT_S, least) if r.clock else least)
