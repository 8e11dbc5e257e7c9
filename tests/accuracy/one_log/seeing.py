"""An oracle that knows kind, place and moment of a fault: whether the logged samples show it.

Means over blocks before and after, or against the counterpart; a fault is visible at five standard
errors, with the effective sample size of an autocorrelated mean, and above the limit in force. It
is slow and plain, judges the tool, and shares nothing with its detectors.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from telemetry.aircraft import Limits
from tests.accuracy.one_log.making import Logged, Planted
from tests.simulated.scenes import FloatArray

LIMITS = Limits()
#: Standard errors at which a difference counts as seen.
SURE = 5.0
#: Shortest block, s, and blocks of so many updates: units are polled in turn (heuristic).
_BLOCK_S, _UPDATES = 2.0, 4.0
#: Least current that counts, A: at rest as the review has it, of a change (heuristic).
_REST_A, _LESS_A, _MORE_A = 0.2, 0.1, 0.3
#: At rest over the highest of all other places where there is no mirror, A, and this factor: less
#: than that is a load by design as well as a fault, for all that one log shows.
_ALONE_A, _ALONE = 1.6, 4.0
#: Of a servo that no moment tells apart: so many times its mirror's (unlike servos of a sound pair
#: reach 1.6). Of one that heats: so much of what its mirror says over rest (sound ones reach 0.3).
_TIMES, _CLIMBS = 1.7, 0.35
#: Part of the supply that a lead, and a pack's own resistance, may take at the highest current.
_LEAD_PART, _PACK_PART = 0.08, 0.18
#: Rest voltages of a pair this far apart, %, a charging current, A, the share of
#: a pack that gives nothing, and of one that gave something.
_APART_PCT, _CHARGING_A, _IDLE, _SOME = 3.5, 0.1, 0.05, 0.2
#: A resistance against the other's: this factor, and this much, Ohm.
_FACTOR, _MORE_OHM = 1.5, LIMITS.branch_watch_mohm / 1000
_OFFSET_V = 0.1
#: A fall for a charge over the other's: that of a pack of three quarters of its capacity.
_FADED = 1 / 0.75
#: Sound pairs share unevenly by this much of the limit, where their charge differs (heuristic).
_SHARES = 2.0
_TOGETHER_S = 8.0  # rest in front of every flight of the makers
_HELD_V = 0.06  # a held bus keeps within this, V (heuristic)


@dataclass(frozen=True, kw_only=True)
class Sight:
    """What the oracle saw: standard errors, size, and the limit it has to pass, in one unit."""

    sure: float = 0.0
    size: float = 0.0
    limit: float = np.inf

    @property
    def visible(self) -> bool:
        """Whether an expert who knew where to look would see it."""
        return bool(self.sure >= SURE and self.size >= self.limit)


NOTHING = Sight()


def sight(p: Planted) -> Sight:
    """How well a planted fault shows in the samples of its log."""
    return LOOKS[p.kind.sight](p)


def correlated(x: FloatArray) -> float:
    """How many successive values are worth one: 1 + 2 * sum of the autocorrelations.

    The sum ends at the first correlation under two standard errors.
    """
    x = x - x.mean()
    power = float(x @ x)
    if x.size < 4 or power <= 0:
        return 1.0
    total = 1.0
    for lag in range(1, x.size // 2):
        r = float(x[lag:] @ x[:-lag]) / power
        if r < 2 / np.sqrt(x.size):
            break
        total += 2 * r
    return total


def apart(a: FloatArray, b: FloatArray) -> tuple[float, float]:
    """Mean of b above that of a, and its standard errors; a gives scatter and correlation."""
    a, b = a[np.isfinite(a)], b[np.isfinite(b)]
    if a.size < 4 or b.size < 2:
        return 0.0, 0.0
    tau = correlated(a)
    spread = max(float(a.std(ddof=1)), 1e-4)
    error = spread * np.sqrt(tau * (1 / a.size + 1 / b.size))
    more = float(b.mean() - a.mean())
    return more, abs(more) / error


def _edges(p: Planted, width_s: float | None = None) -> FloatArray:
    end = max(float(t[-1]) for t, _ in p.logged.values() if t.size)
    return np.arange(0.0, end, width_s or max(_BLOCK_S, _UPDATES * p.update_s))


def _blocks(p: Planted, place: str, quantity: str, edges: FloatArray) -> FloatArray | None:
    return blocks_of(p.logged, place, quantity, edges)


def blocks_of(logged: Logged, place: str, quantity: str, edges: FloatArray) -> FloatArray | None:
    """Mean of the samples in each block; NaN where a block holds none."""
    if (place, quantity) not in logged:
        return None
    t, x = logged[place, quantity]
    at = np.digitize(t, edges) - 1
    inside = (at >= 0) & (at < edges.size - 1)
    counts = np.bincount(at[inside], minlength=edges.size - 1)
    sums = np.bincount(at[inside], x[inside], minlength=edges.size - 1)
    return np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)


def _mirror(p: Planted) -> str | None:
    words = {"left": "right", "right": "left"}
    other = " ".join(words.get(w, w) for w in p.where.split(" "))
    return other if other != p.where and other in p.nodes else None


def _flying(p: Planted, edges: FloatArray) -> FloatArray:
    return np.asarray((edges[:-1] > p.takes_off_s) & (edges[1:] < p.lands_s))


def _expected(p: Planted, edges: FloatArray, fit: FloatArray) -> FloatArray | None:
    """What the counterparts say the place draws, learnt where ``fit``.

    Of a mirror its current over rest, by the ratio of the two sums: a slope of point against point
    would come out too low, and a livelier stretch would then look like a fault. Where there is no
    mirror, by all other places.
    """
    own, mirror = _blocks(p, p.where, "current", edges), _mirror(p)
    if own is None:
        return None
    beside = None if mirror is None else _blocks(p, mirror, "current", edges)
    if mirror is not None and beside is not None:
        good = fit & np.isfinite(own) & np.isfinite(beside)
        rests = [_before(p, n) for n in (p.where, mirror)]
        if good.sum() < 3 or not all(x.size for x in rests):
            return None
        rest, rest_beside = (float(np.quantile(x, 0.25)) for x in rests)
        over = float((beside[good] - rest_beside).sum())
        share = float((own[good] - rest).sum()) / over if over > 0 else 1.0
        return np.asarray(rest + share * (beside - rest_beside))
    columns = [_blocks(p, n, "current", edges) for n in p.nodes if n != p.where]
    known = [c for c in columns if c is not None]
    design = np.column_stack([np.ones(own.size), *known])
    good = fit & np.isfinite(design).all(axis=1) & np.isfinite(own)
    if not known or good.sum() < 3 * design.shape[1]:
        return None
    answer, *_ = np.linalg.lstsq(design[good], own[good], rcond=None)
    return np.asarray(design @ answer)


def _change(p: Planted) -> Sight:
    """A node's current from a moment on, against what its counterpart says."""
    if p.since_s <= 0:
        return _rest(p)
    lasts = min(p.until_s, p.lands_s) - p.since_s
    edges = _edges(p, max(2 * p.update_s, min(_BLOCK_S, lasts / 4)))
    flying = _flying(p, edges)
    before = flying & (edges[1:] < p.since_s)
    after = flying & (edges[:-1] > p.since_s) & (edges[1:] < p.until_s)
    expected, own = _expected(p, edges, before), _blocks(p, p.where, "current", edges)
    if expected is None or own is None:
        return NOTHING
    left = own - expected
    more, sure = apart(left[before], left[after])
    usual = float(np.nanmean(own[before]))
    least = _MORE_A if more > 0 else _LESS_A
    # Other surfaces explain a node less well than its mirror does.
    part = (LIMITS.servo_watch_pct if _mirror(p) else LIMITS.servo_ground_pct) / 100
    return Sight(sure=sure, size=abs(more), limit=max(least, part * usual))


def _heats(p: Planted) -> Sight:
    """The last third of a flight against its first third, by what the counterpart does then."""
    edges = _edges(p)
    flying, third = _flying(p, edges), (p.lands_s - p.takes_off_s) / 3
    early = flying & (edges[1:] < p.takes_off_s + third)
    late = flying & (edges[:-1] > p.lands_s - third)
    expected, own = _expected(p, edges, early), _blocks(p, p.where, "current", edges)
    if expected is None or own is None:
        return NOTHING
    left = own - expected
    more, sure = apart(left[early], left[late])
    usual = float(np.nanmean(expected[late]))
    if _mirror(p):
        usual -= float(np.quantile(_before(p, p.where), 0.25))
    part = _CLIMBS if _mirror(p) else LIMITS.servo_ground_pct / 100
    return Sight(sure=sure if more > 0 else 0.0, size=more, limit=max(_LESS_A, part * usual))


def _before(p: Planted, place: str, quantity: str = "current") -> FloatArray:
    """Samples at rest before the flight: the last seconds before take-off, else the first."""
    t, x = p.logged.get((place, quantity), (np.empty(0), np.empty(0)))
    until = p.takes_off_s - 1.0 if np.isfinite(p.takes_off_s) else _TOGETHER_S - 1.0
    return np.asarray(x[(t > until - _TOGETHER_S) & (t < until)])


def _rest(p: Planted) -> Sight:
    """A node that rests higher than its counterpart, or than any other."""
    own, mirror = _before(p, p.where), _mirror(p)
    rests = {n: _before(p, n) for n in p.nodes if n != p.where}
    others = {n: x for n, x in rests.items() if x.size and (mirror is None or n == mirror)}
    if not others or not own.size:
        return NOTHING
    usual = max(others.values(), key=lambda x: float(x.mean()))
    more, sure = apart(usual, own)
    least, part = (_REST_A, 0.5) if mirror else (_ALONE_A, _ALONE - 1.0)
    return Sight(sure=sure, size=more, limit=max(least, part * float(usual.mean())))


def _rest_after(p: Planted) -> Sight:
    """A node that rests higher after landing than before take-off, and the others do not."""

    end = max(float(t[-1]) for t, _ in p.logged.values() if t.size)

    def risen(place: str) -> tuple[float, float]:
        t, x = p.logged.get((place, "current"), (np.empty(0), np.empty(0)))
        return apart(_before(p, place), x[t > max(p.lands_s + 6.0, end - _TOGETHER_S)])

    more, sure = risen(p.where)
    others = max((risen(n)[0] for n in p.nodes if n != p.where), default=0.0)
    before = _before(p, p.where)
    usual = float(before.mean()) if before.size else np.inf
    # All nodes up together is a stir after the landing.
    return Sight(sure=sure, size=more - max(others, 0.0), limit=max(_REST_A, 0.5 * usual))


def _ratio(p: Planted) -> Sight:
    """A node that draws more than its mirror, all the flight long."""
    edges, mirror = _edges(p), _mirror(p)
    own = _blocks(p, p.where, "current", edges)
    other = None if mirror is None else _blocks(p, mirror, "current", edges)
    if own is None or other is None:
        return NOTHING
    flying = _flying(p, edges)
    own, other = own[flying], other[flying]
    more = (own - other)[np.isfinite(own - other)]
    if more.size < 4:
        return NOTHING
    error = float(more.std(ddof=1)) * np.sqrt(correlated(more) / more.size)
    times = float(np.nanmean(own) / np.nanmean(other))
    return Sight(sure=float(more.mean()) / error, size=times, limit=_TIMES)


def _slope(x: FloatArray, y: FloatArray, *drift: FloatArray) -> tuple[float, float]:
    """Slope of y against x with intercept, and its standard error; the scatter is correlated."""
    good = np.isfinite(x) & np.isfinite(y) & np.all([np.isfinite(d) for d in drift], axis=0)
    design = np.column_stack([x[good], np.ones(int(good.sum())), *(d[good] for d in drift)])
    if design.shape[0] < 4 * design.shape[1] or np.ptp(x[good]) <= 0:
        return 0.0, np.inf
    answer, *_ = np.linalg.lstsq(design, y[good], rcond=None)
    left = y[good] - design @ answer
    variance = float(left @ left) / (left.size - design.shape[1]) * correlated(left)
    spread = np.linalg.pinv(design.T @ design)[0, 0]
    return float(answer[0]), float(np.sqrt(max(variance * spread, 1e-12)))


def _drop(p: Planted, edges: FloatArray, place: str) -> tuple[FloatArray, FloatArray] | None:
    """Current of a place, else of all, and its voltage drop from the bus, by blocks."""
    bus, own = (_blocks(p, n, "voltage", edges) for n in ("bus", place))
    amps = _blocks(p, place, "current", edges)
    amps = _blocks(p, "bus", "current", edges) if amps is None else amps
    return None if bus is None or own is None or amps is None else (amps, bus - own)


def _lead(p: Planted) -> Sight:
    """A lead whose drop against current changed, is unlike the mirror's, or is much."""
    edges = _edges(p)
    own = _drop(p, edges, p.where)
    if own is None:
        return NOTHING
    amps, lost = own
    if p.since_s > 0:
        before = edges[1:] < p.since_s
        after = edges[:-1] > p.since_s
        was, was_error = _slope(amps[before], lost[before])
        now, error = _slope(amps[after], lost[after])
        limit = max(_MORE_OHM, LIMITS.branch_watch_pct / 100 * was)
        return Sight(
            sure=(now - was) / float(np.hypot(error, was_error)), size=now - was, limit=limit
        )
    now, error = _slope(amps, lost)
    mirror = _mirror(p)
    other = None if mirror is None else _drop(p, edges, mirror)
    if other is not None:
        was, was_error = _slope(*other)
        limit = max(_MORE_OHM, (LIMITS.branch_over_expected - 1) * was)
        return Sight(
            sure=(now - was) / float(np.hypot(error, was_error)), size=now - was, limit=limit
        )
    supply = float(np.nanmedian(p.logged["bus", "voltage"][1]))
    highest = float(np.nanmax(p.logged.get((p.where, "current"), (0, amps))[1]))
    return Sight(sure=now / error, size=now * highest / supply, limit=_LEAD_PART)


def _packs(p: Planted) -> list[str]:
    return sorted({n for n, _ in p.logged if n.startswith("pack")})


def _worse(p: Planted) -> tuple[str, str] | None:
    """The pack at fault and the other one."""
    names = _packs(p)
    bad = p.where if p.where in names else "pack 2"
    other = next((n for n in names if n != bad), None)
    return None if other is None or bad not in names else (bad, other)


def _pack_ohm(p: Planted, edges: FloatArray, pack: str) -> tuple[float, float]:
    """Resistance of a pack by its own current, else by the bus', with its fall by charge."""
    volts = _blocks(p, pack, "voltage", edges)
    amps = _blocks(p, pack, "current", edges)
    amps = _blocks(p, "bus", "current", edges) if amps is None else amps
    if volts is None or amps is None:
        return 0.0, np.inf
    drawn = np.cumsum(np.nan_to_num(amps))
    drawn = drawn / max(float(drawn[-1]), 1e-9)
    slope, error = _slope(amps, volts, drawn, drawn**2, drawn**3)
    return -slope, error


def _weak(p: Planted) -> Sight:
    """One pack with more resistance than the other, or with less of the load for it."""
    pair, edges = _worse(p), _edges(p)
    if pair is None:
        return NOTHING
    (now, error), (was, was_error) = (_pack_ohm(p, edges, n) for n in pair)
    limit = max(_MORE_OHM, (_FACTOR - 1) * was)
    by_ohm = Sight(
        sure=(now - was) / float(np.hypot(error, was_error)), size=now - was, limit=limit
    )
    return by_ohm if by_ohm.visible else _share(p, pair)


def _share(p: Planted, pair: tuple[str, str]) -> Sight:
    """A pack's part of the current under load, below its half."""
    edges = _edges(p)
    own, other = (_blocks(p, n, "current", edges) for n in pair)
    if own is None or other is None:
        return NOTHING
    both = own + other
    loaded = both > np.nanmedian(both)
    part = (own / np.where(both == 0, np.nan, both))[loaded]
    part = part[np.isfinite(part)]
    if part.size < 4:
        return NOTHING
    less = 0.5 - float(part.mean())
    error = max(float(part.std(ddof=1)), 1e-4) * np.sqrt(correlated(part) / part.size)
    return Sight(sure=less / error, size=100 * less, limit=_SHARES * LIMITS.share_points)


def _weak_together(p: Planted) -> Sight:
    """Packs that take much of their own voltage at the highest current, or supply too low."""
    edges = _edges(p)
    seen = []
    for pack in _packs(p):
        ohm, error = _pack_ohm(p, edges, pack)
        own = (pack, "current") if (pack, "current") in p.logged else ("bus", "current")
        if own in p.logged and (pack, "voltage") in p.logged:
            highest = float(np.quantile(p.logged[own][1], 0.99))
            part = ohm * highest / float(np.median(p.logged[pack, "voltage"][1]))
            seen.append(Sight(sure=ohm / error, size=part, limit=_PACK_PART))
    together = all(s.visible for s in seen) and bool(seen)
    return seen[0] if together else _under(p)


def _under(p: Planted) -> Sight:
    """Samples of the bus below its comfortable level in flight, several of them in a row."""
    t, volts = p.logged["bus", "voltage"]
    usual = float(np.median(volts[:20]))
    level = LIMITS.comfort_v or (6.0 if usual > 7.2 else 5.0)
    low = volts[(t > 5.0) & (volts > 0.5)] < level
    runs = np.diff(np.flatnonzero(np.diff(np.concatenate(([0], low, [0])))))[::2]
    longest = int(runs.max()) if runs.size else 0
    lowest = level - float(volts[volts > 0.5].min())
    return Sight(sure=float(longest), size=lowest, limit=0.0)


def _knee(p: Planted) -> Sight:
    """A pack that ends below what its fall until then, and its current, say."""
    edges = _edges(p)
    volts, amps = (_blocks(p, "pack 1", q, edges) for q in ("voltage", "current"))
    amps = _blocks(p, "bus", "current", edges) if amps is None else amps
    if volts is None or amps is None:
        return NOTHING
    part = edges[:-1] / edges[-1]
    design = np.column_stack([np.ones(part.size), amps, part])
    good = np.isfinite(design).all(axis=1) & np.isfinite(volts)
    early, late = good & (part > 0.1) & (part < 0.6), good & (part > 0.8)
    answer, *_ = np.linalg.lstsq(design[early], volts[early], rcond=None)
    more, sure = apart((volts - design @ answer)[early], (volts - design @ answer)[late])
    limit = max(LIMITS.sag_pct / 100 * float(np.nanmedian(volts)), LIMITS.sag_v)
    return Sight(sure=sure if more < 0 else 0.0, size=-more, limit=limit)


def _low(p: Planted) -> Sight:
    """A pack that rests below the other, or gives less than its part; both: supply too low."""
    pair = _worse(p)
    if p.where == "bus" or pair is None:
        return _under(p)
    own, other = (_before(p, n, "voltage") for n in pair)
    more, sure = apart(other, own) if own.size and other.size else (0.0, 0.0)
    limit = _APART_PCT / 100 * float(other.mean()) if other.size else np.inf
    by_rest = Sight(sure=sure if more < 0 else 0.0, size=-more, limit=limit)
    return by_rest if by_rest.visible else _share(p, pair)


def _faded(p: Planted) -> Sight:
    """A pack whose voltage, its load taken out, falls further than the other's for its charge."""
    pair, edges = _worse(p), _edges(p)
    if pair is None:
        return NOTHING
    falls = []
    for pack in pair:
        ohm, _ = _pack_ohm(p, edges, pack)
        volts, amps = (_blocks(p, pack, q, edges) for q in ("voltage", "current"))
        if volts is None or amps is None:
            return NOTHING
        drawn = np.cumsum(np.nan_to_num(amps)) * (edges[1] - edges[0]) / 3600
        slope, error = _slope(drawn, volts + ohm * amps)
        falls.append((-slope, error))
    (now, error), (was, was_error) = falls
    sure = (now - was) / float(np.hypot(error, was_error))
    return Sight(sure=sure, size=now / was if was > 0 else 0.0, limit=_FADED)


def _charged(p: Planted) -> Sight:
    """A pack that takes current at rest."""
    rests = [x for n in _packs(p) if (x := _before(p, n)).size]
    if not rests:
        return NOTHING
    least = min(rests, key=lambda x: float(x.mean()))
    error = max(float(least.std(ddof=1)), 0.01) * np.sqrt(correlated(least) / least.size)
    return Sight(sure=-float(least.mean()) / error, size=-float(least.mean()), limit=_CHARGING_A)


def _out(p: Planted) -> Sight:
    """A pack that gave its part, and from a moment on nothing of what the other gives."""
    pair, edges = _worse(p), _edges(p, max(1.0, 2 * p.update_s))
    own, other = (_blocks(p, n, "current", edges) for n in pair) if pair else (None, None)
    before, after = edges[1:] < p.since_s, (edges[:-1] > p.since_s) & (edges[1:] < p.since_s + 8)
    if own is None or other is None or not np.isfinite((own + other)[after]).any():
        return NOTHING
    slope, _ = _slope(other[before], own[before])
    less, sure = apart((own - slope * other)[before], (own - slope * other)[after])
    was, gone = (np.nanmean(own[k]) / np.nanmean((own + other)[k]) for k in (before, after))
    return Sight(sure=sure, size=float(was), limit=_SOME if gone < _IDLE and less < 0 else np.inf)


def _droop(p: Planted) -> Sight:
    """A bus that falls below what it was at rest, further than its packs do or from a held level.

    A log shows that something held the bus by its packs, which stand further above it when it is
    low than at rest, or stood further above it at rest than the way from them takes.
    """
    t, volts = p.logged["bus", "voltage"]
    usual = float(np.median(volts[t < _TOGETHER_S]))
    limit = max(LIMITS.sag_pct / 100 * usual, LIMITS.sag_v)
    low = np.flatnonzero((usual - volts > limit) & (volts > 0.5))
    packs = [p.logged[n, "voltage"] for n in _packs(p) if (n, "voltage") in p.logged]
    if low.size < SURE or not packs:
        return Sight(sure=float(low.size), size=float(usual - volts.min()))
    spare = [float(np.interp(t[low], tp, x).mean()) - float(volts[low].mean()) for tp, x in packs]
    rest = [float(np.median(x[tp < _TOGETHER_S])) - usual for tp, x in packs]
    scatter = float(volts[t < _TOGETHER_S].std()) + 0.01
    sure = float(usual - volts[low].mean()) / scatter
    # The packs stand further above the bus than at rest, or would hold it if the path let them.
    grew = max(s - r for s, r in zip(spare, rest, strict=True))
    if grew < 0.5 * limit:
        sure = min(sure, _held_at_rest(p, usual))
    held = max(spare) > 0.5 * limit and grew > -limit
    return Sight(sure=sure, size=float(usual - volts.min()), limit=limit if held else np.inf)


def _held_at_rest(p: Planted, usual: float) -> float:
    """Standard errors by which the packs stood too far above the bus at rest for the way alone.

    The way is the line of that distance against the current where the bus was below its level.
    """
    edges = _edges(p)
    bus = _blocks(p, "bus", "voltage", edges)
    above = [x for n in _packs(p) if (x := _blocks(p, n, "voltage", edges)) is not None]
    amps = _blocks(p, "bus", "current", edges)
    if amps is None:
        own = [_blocks(p, n, "current", edges) for n in _packs(p)]
        amps = None if not own or any(x is None for x in own) else np.sum(own, axis=0)
    if bus is None or amps is None or not above:
        return 0.0
    lost = np.fmax.reduce(above) - bus
    known = np.isfinite(lost) & np.isfinite(amps)
    rest = known & (edges[:-1] > 3.0) & (edges[1:] < _TOGETHER_S + 8.0) & (bus > usual - _HELD_V)
    below = known & (bus < usual - _HELD_V)
    ohm, error = _slope(amps[below], lost[below])
    if not np.isfinite(error) or rest.sum() < 2:
        return 0.0
    ohm = max(ohm, 0.0)
    left = lost[below] - ohm * amps[below]
    more = float((lost[rest] - ohm * amps[rest]).mean() - left.mean())
    step = max(float(lost[rest].std(ddof=1)), 0.5 * _step_v(p)) / np.sqrt(2)
    nearer = error * abs(float(amps[rest].mean() - amps[below].mean()))
    of_mean = float(left.std(ddof=1)) * np.sqrt(correlated(left) / left.size)
    return more / float(np.linalg.norm([step, nearer, of_mean]))


def _step_v(p: Planted) -> float:
    """Smallest step of the voltage of bus and packs, the coarser one, V."""
    steps = [np.diff(np.unique(p.logged[n, "voltage"][1])) for n in ("bus", *_packs(p))]
    return max((float(x[x > 1e-6].min()) for x in steps if (x > 1e-6).any()), default=0.0)


def _path(p: Planted) -> Sight:
    """A path from pack to bus with more resistance from a moment on."""
    edges = _edges(p)
    amps = _blocks(p, p.where, "current", edges)
    bus, pack = (_blocks(p, n, "voltage", edges) for n in ("bus", p.where))
    if amps is None or bus is None or pack is None:
        return NOTHING
    lost, before, after = pack - bus, edges[1:] < p.since_s, edges[:-1] > p.since_s
    (was, was_error), (now, error) = (_slope(amps[k], lost[k]) for k in (before, after))
    limit = max(_MORE_OHM, LIMITS.branch_watch_pct / 100 * was)
    return Sight(sure=(now - was) / float(np.hypot(error, was_error)), size=now - was, limit=limit)


def _dips(p: Planted) -> Sight:
    """A logged sample in a dip that lies below the samples around it, and above for the bus."""
    t, volts = p.logged.get((p.where, "voltage"), (np.empty(0), np.empty(0)))
    if t.size < 20:
        return NOTHING
    usual = float(np.median(volts))
    spans = p.moments or [(0.0, float(t[-1]))]  # of a wing at zero the depth alone tells
    limit = max(LIMITS.sag_pct / 100 * usual, LIMITS.sag_v) if p.moments else 0.5 * usual
    best = _counted_anew(p)
    tb, bus = p.logged["bus", "voltage"]
    level = np.interp(t, tb, bus) if p.where != "bus" else np.full(t.size, usual)
    for start, end in spans:
        inside = (t >= start) & (t < end + 1.5 * p.update_s + 0.1)
        near = (np.abs(t - start) < 20.0) & ~inside if p.moments else volts > 0.5 * usual
        if inside.sum() and near.sum() > 5:
            under = level - volts
            size = float(under[inside].max() - np.median(under[near]))
            found = Sight(sure=size / (float(under[near].std()) + 0.005), size=size, limit=limit)
            best = max(best, found, key=lambda s: (s.visible, s.sure))
    return best


def _counted_anew(p: Planted) -> Sight:
    """A counter of the place that began anew after a moment without supply."""
    for quantity in ("uptime", "consumed"):
        t, x = p.logged.get((p.where, quantity), (np.empty(0), np.empty(0)))
        fallen = t[1:][np.diff(x) < 0]
        if any(start < at < end + 30.0 for at in fallen for start, end in p.moments):
            return Sight(sure=np.inf, size=1.0, limit=1.0)
    return NOTHING


def _offset(p: Planted) -> Sight:
    """A voltage that differs from the bus' with nothing drawn."""
    own, bus = _before(p, p.where, "voltage"), _before(p, "bus", "voltage")
    if not own.size or not bus.size or p.where == "bus":
        return NOTHING
    more, sure = apart(bus, own)
    return Sight(sure=sure, size=abs(more), limit=_OFFSET_V)


LOOKS: dict[str, Callable[[Planted], Sight]] = {
    "change": _change,
    "heats": _heats,
    "rest": _rest,
    "rest after": _rest_after,
    "ratio": _ratio,
    "lead": _lead,
    "weak": _weak,
    "weak together": _weak_together,
    "low": _low,
    "knee": _knee,
    "faded": _faded,
    "charged": _charged,
    "out": _out,
    "droop": _droop,
    "path": _path,
    "dips": _dips,
    "offset": _offset,
}
