"""Impossible readings: wild cells, and what no unit with a supply could have measured."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Limits
from telemetry.model.channels import Quantity, bounds_of
from telemetry.model.log import FloatArray, Log
from telemetry.numerics.wild import wild
from telemetry.readings.silence import NO_SUPPLY_V
from telemetry.results import Spurious
from telemetry.results.readings import Reading

IntArray = NDArray[np.int64]

#: A lowest voltage below this is a blank that was written as zero, V (heuristic): a unit that goes
#: on reporting was not without supply, and what fell for a moment seldom fell to nothing.
_BLANK_V = 0.005
#: Readings of a fed place that are enough to say that it went on.
_FEW_FED = 20
#: So many zeros at one place are no accident of its sensor (heuristic).
_AGAIN = 2
#: A voltage that falls by this part is gone as well, one by that part answers a current, where it
#: is this part at least of what it falls for as many amperes (heuristic).
_FELL, _ANSWER, _OF_IT = 0.25, 0.04, 0.25
#: A current of so many times those amperes would have been answered (heuristic).
_SURE = 1.5


def without_wild(log: Log) -> tuple[Log, tuple[Spurious, ...]]:
    """The log with its wild cells blank, and those cells.

    A number that is repeated from row to row is listed once.
    """
    time_s = log.time_s
    clean: dict[str, FloatArray] = {}
    aside: list[Spurious] = []
    for c in log.channels:
        if c.text or c.key not in log.frame.columns:
            continue
        values = log.values(c.key)
        for reason, mask in wild(values, *bounds_of(c.quantity, c.hold)).items():
            first = mask & (values != np.r_[np.nan, values[:-1]])
            aside += [
                Spurious(
                    time_s=float(time_s[i]),
                    place=c.place or "",
                    column=c.column,
                    value=float(values[i]),
                    reason=reason,
                )
                for i in np.flatnonzero(first)
            ]
            clean[c.key] = np.where(mask, np.nan, clean.get(c.key, values))
    if not clean:
        return log, ()
    return replace(log, frame=log.frame.assign(**clean)), tuple(aside)


def impossible(
    r: Reading, everything: list[Reading], limits: Limits, fed: Collection[str] = ()
) -> list[tuple[int, int, str]]:
    """First and past-last index of single impossible readings, with the reason.

    A voltage near zero for one reading, both neighbours normal, while the same place or the
    place that reports it goes on as before: the unit that sends the value could not have sent it
    without supply. A current far above its neighbours for one reading, while no voltage answers:
    several times above everything else, or so far that a voltage would have shown it. A held
    value can be taken for two readings: one that another place or the place's own current
    contradicts may have been, and so may one that comes again, unless the place's own current went
    on, its unit's own lowest voltage did not fall, or, of a blank, the places that it feeds went
    on.

    Parameters
    ----------
    r : Reading
    everything : list of Reading
        Of the whole log.
    limits : Limits
    fed : collection of str
        The places that this one feeds.
    """
    held = r.channel.hold == "min" and r.channel.quantity is Quantity.VOLTAGE
    if r.channel.quantity not in (Quantity.VOLTAGE, Quantity.CURRENT):
        return []
    if (r.channel.hold and not held) or r.size < 5:
        return []
    close = r.hold_s(limits)
    edges = np.r_[0, np.flatnonzero(np.diff(r.v)) + 1, r.size]
    first, end = edges[:-1], edges[1:]
    before, at, after = r.v[first[:-2]], r.v[first[1:-1]], r.v[first[2:]]
    pauses = r.t[first[1:]] - r.t[end[:-1] - 1]
    alone = (pauses[:-1] <= close) & (pauses[1:] <= close) & ((end - first)[1:-1] <= 2)
    others = [
        o
        for o in everything
        if o is not r and o.channel.quantity is Quantity.VOLTAGE and not o.channel.hold and o.size
    ]

    def fell(o: Reading, k: int, share: float) -> bool:
        return _fell(o, (float(r.t[first[k]]), float(r.t[end[k] - 1])), r.update_s or 0.0, share)

    out: list[tuple[int, str]] = []
    if r.channel.quantity is Quantity.VOLTAGE:
        level = np.minimum(before, after)
        dark = _BLANK_V if held else np.minimum(0.25 * level, NO_SUPPLY_V)
        dead = alone & (at < dark) & (level > NO_SUPPLY_V)
        seen = {
            int(k): _witness(r, int(first[k]), everything, fed) for k in np.flatnonzero(dead) + 1
        }
        again = sum(witness is not True for witness in seen.values()) >= _AGAIN
        for k, witness in seen.items():
            sure = end[k] - first[k] == 1 or bool(others) or witness is True
            denied = witness is False or (again and witness is None)
            if sure and not denied and not any(fell(o, k, _FELL) for o in others):
                out.append((k, "no supply for one reading while the unit kept reporting"))
        # Above two dark readings it is no jump, but the supply come back for a moment.
        beside = np.maximum(before, after)
        above = alone & (not held) & (beside > NO_SUPPLY_V) & (at > 1.25 * beside)
        above &= at - after > 1.0
        out += [
            (int(k), "far above both its neighbours; no supply jumps so")
            for k in np.flatnonzero(above) + 1
        ]
    else:
        values = r.v[first]
        values = np.abs(values)
        top = float(np.quantile(values, 0.999) if values.size >= 1000 else np.sort(values)[-2:][0])
        neighbours = np.maximum(np.abs(before), np.abs(after))
        size = np.abs(at)
        sudden = alone & (size > 5.0 * (neighbours + 0.5))
        beyond = size > 3.0 * max(top, 1.0)
        more = size - neighbours
        shown_a = [_shown_a(r, o, first[1:-1][sudden]) for o in others] if sudden.any() else []
        # Several of them make no top; what a voltage would have shown, and did not, is none.
        beyond |= more > _SURE * min(shown_a, default=np.inf)
        out += [
            (int(k), "a current that no voltage answered, for one reading")
            for k in np.flatnonzero(sudden & beyond) + 1
            if not any(
                fell(o, int(k), _ANSWER * max(1.0, _OF_IT * float(more[k - 1]) / a))
                for o, a in zip(others, shown_a, strict=True)
            )
        ]
    return [(int(first[k]), int(end[k]), why) for k, why in sorted(out)]


def _witness(r: Reading, i: int, everything: list[Reading], fed: Collection[str]) -> bool | None:
    """Whether the place had its supply in a dark reading: True, False, or None where none tells."""
    if _kept_minimum(r, i, everything):
        return True
    own = _own_witness(r, i, everything)
    if own is None and r.v[i] < _BLANK_V and _fed_on(r, i, everything, fed):
        return True
    return own


def _kept_minimum(r: Reading, i: int, everything: list[Reading]) -> bool:
    """Whether the unit's own lowest voltage, read later, stands far above this reading."""
    for o in everything:
        if o is not r and o.place == r.place and o.channel.hold == "min":
            later = o.v[np.searchsorted(o.t, r.t[i] + (o.update_s or 0.0)) :]
            if o.channel.quantity is Quantity.VOLTAGE and later.size:
                return float(later.min()) > NO_SUPPLY_V
    return False


def _fed_on(r: Reading, i: int, everything: list[Reading], fed: Collection[str]) -> bool:
    """Whether all places that this one feeds went on, two of them at the least.

    What they are fed with cannot have been nothing.
    """
    span = (float(r.t[i]), float(r.t[i]))
    below = [
        o
        for o in everything
        if o.place in fed
        and o.channel.quantity is Quantity.VOLTAGE
        and not o.channel.hold
        and o.size >= _FEW_FED
    ]
    return len(below) >= 2 and not any(_fell(o, span, r.update_s or 0.0, _FELL) for o in below)


def _own_witness(r: Reading, i: int, everything: list[Reading]) -> bool | None:
    """Whether the same place's current went on (True), stopped (False) or is not logged (None)."""
    for o in everything:
        if o.place == r.place and o.channel.quantity is Quantity.CURRENT and not o.channel.hold:
            if o.size == 0 or o.update_s is None:
                return None
            reach = max(o.update_s, r.update_s or 0.0)
            lo, hi = np.searchsorted(o.t, [r.t[i] - reach, r.t[i] + reach], side="right")
            near = o.v[lo:hi]
            # What began or ended just then was not there on both sides.
            sides = [x for x in (o.v[max(0, lo - 20) : hi], o.v[lo : hi + 20]) if x.size]
            usual = min((float(np.quantile(x, 0.1)) for x in sides), default=0.0)
            nothing = 2 * (o.resolution or 0.0)
            if near.size == 0:
                return None
            if near.min() > max(nothing, 0.3 * usual):
                return True
            stopped = usual > nothing and near.min() <= 0.3 * usual
            return False if stopped else None
    return None


def _shown_a(r: Reading, o: Reading, aside: IntArray) -> float:
    """By how many amperes more a voltage falls by the part that is an answer, A; inf if unknown.

    From the slope of its steps over those of the current, without the readings ``aside``.
    """
    i = r.v.copy()
    i[aside] = np.nan
    u = o.v[np.maximum(np.searchsorted(o.t, r.t, side="right") - 1, 0)]
    di, du = np.diff(i), np.diff(u)
    known = np.isfinite(di)
    squares = float(np.sum(di[known] ** 2))
    ohm = -float(np.sum(di[known] * du[known])) / squares if squares > 0.0 else 0.0
    usual_v = float(np.median(o.v))
    return _ANSWER * usual_v / ohm if ohm > 0.0 and usual_v > 0.0 else np.inf


def _fell(o: Reading, span: tuple[float, float], interval_s: float, share: float) -> bool:
    """True where this voltage fell by more than ``share`` about that span."""
    reach = max(interval_s, o.update_s or 0.0)
    lo, hi = np.searchsorted(o.t, [span[0] - reach, span[1] + reach], side="right")
    if hi <= lo:
        return False
    usual = float(np.median(o.v[max(0, lo - 10) : hi + 10]))
    return bool(o.v[lo:hi].min() < (1.0 - share) * usual)
