"""Whether a current keeps its share of its counterpart's.

A share is told over stretches of some seconds as one sum over the other (the ratio estimator of
survey sampling: W. G. Cochran, Sampling Techniques, 3rd ed., 1977, chapter 6), so that calm
stretches, in which both rest, weigh little. Its error is that of the stretches' residuals, with
their autocorrelation. A flight has a dozen of them or two, from which the error itself is hardly
known: differences are told as the standard normal value with the tail of their Student's t.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from telemetry.model.log import FloatArray
from telemetry.numerics.statistics.charts import normal_scores
from telemetry.numerics.stretches import each_together, together
from telemetry.results import UnusualKind

IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

#: Stretches over which a share is told, s (heuristic: units polled in turn see one move at instants
#: that far less apart, and a short flight still has two dozen); how many are needed on each side of
#: a change.
_STRETCH_S, SIDE = 8.0, 4
#: Lags over which residuals of stretches may hang together; what no share is known better than
#: (heuristic: gains of two sensors, air on one side).
_LAGS, _KNOWN = 12, 0.03
#: A share that fell to this part of what it was, and standard errors; with a mirror, against other
#: places or the sticks, and where the rest fell too (heuristic: flying moves the share of two
#: wings by a fifth, that of two kinds of surfaces by more).
_FELL, _ERRORS = 0.75, 4.5
_FELL_OTHERS, _ERRORS_OTHERS = 0.5, 5.3
_ERRORS_TWO, _ERRORS_GAINED = 3.3, 2.0
#: Part of all that a node draws that a changed share has to be: with a mirror, against others.
_PART, _PART_OTHERS = 0.1, 0.3
#: Times the current of a mirror whose servos hardly move, which measures nothing (heuristic: one of
#: four is left).
HARDLY = 4.0
#: A share that rose by this factor at an instant, or from the first to the last third; standard
#: errors of a climb.
_ROSE, _ROSE_OTHERS, _CLIMB_ERRORS = 1.33, 1.6, 3.3
#: Of a changed share what has to be told at comparable load as well: standard errors, and part of
#: its logarithm; down to this part of a share, and of the usual load, it counts.
_LIKE_ERRORS, _LIKE_PART, _NOTHING, _CALM = 2.5, 0.5, 0.02, 0.05
#: What each of two values sought (the instant of a step, and the level after it) costs, in natural
#: logarithms of the number of stretches (G. Schwarz, Ann. Statist. 6, 1978, 461: twice a log
#: likelihood has to gain one such logarithm a value).
_SOUGHT = 2.0
#: Of the logarithm by which a share of other surfaces falls, so much is a place's own fall; each
#: side of it is this part of the flight, at least (heuristic).
_ITS_OWN, _ENDS = 0.7, 0.2
#: Of what a changed share takes, its mirror does not take this part alike.
_OWN_PART = 0.5
#: Normal values further out are not told apart.
_MOST = 30.0
#: Standard errors against the remaining places that tell a rise of one from a fall of its mirror.
_ROSE_ERRORS = 3.0
#: Without any: natural logarithm of the rise, and the part of it that the mirror moved at the most.
_ALONE, _STAYED = 0.7, 0.33
#: A servo warms up within about this time, s (heuristic).
_WARM_S = 90.0


@dataclass(frozen=True, kw_only=True)
class Shared:
    """Two currents over their rest, on the mean of stretches of seconds.

    How their share changed is asked by several checks, and worked out once.

    Attributes
    ----------
    mine, counterpart : ndarray, shape (n,)
        A.
    first : ndarray of int, shape (n,)
        First block of each stretch.
    seconds : float
        Length of a stretch.
    usual : float
        Mean of the current itself, with its rest, A.
    mirror : bool
        Whether the counterpart is the mirror: it does the same work.
    """

    mine: FloatArray
    counterpart: FloatArray
    first: FloatArray
    seconds: float
    usual: float
    mirror: bool

    @classmethod
    def of(
        cls,
        mine: FloatArray,
        counterpart: FloatArray,
        block_s: float,
        *,
        usual: float,
        mirror: bool,
    ) -> Shared | None:
        """From currents over rest in blocks; None where there is too little of them."""
        size = max(3, round(_STRETCH_S / block_s))
        count = mine.size // size
        shared = cls(
            mine=_means(mine, size, count),
            counterpart=np.clip(_means(counterpart, size, count), 0.0, None),
            first=np.arange(count, dtype=float) * size,
            seconds=size * block_s,
            usual=usual,
            mirror=mirror,
        )
        return shared if count >= 2 * SIDE + 1 and shared.counterpart.sum() > 0 else None

    @property
    def whole(self) -> tuple[float, float, float]:
        """The share of all stretches, its error, and the standard errors by which it is under 1."""
        every = np.ones((1, self.mine.size), dtype=bool)
        part, variance = (float(x[0]) for x in _sides(self.mine, self.counterpart, every)[:2])
        error = float(np.hypot(np.sqrt(variance), _KNOWN * part))
        return part, error, float(_scores((1.0 - part) / max(error, 1e-9), self.mine.size - 1))

    def swapped(self) -> Shared | None:
        """The counterpart's share of this one; None where this one never moves."""
        if self.mine.max() <= 0:
            return None
        return replace(self, mine=self.counterpart, counterpart=np.clip(self.mine, 0.0, None))

    @cached_property
    def step(self) -> ShareChange | None:
        """The likeliest instant at which the share changed."""
        k = np.arange(SIDE, self.mine.size - SIDE + 1)
        load = np.cumsum(self.counterpart)
        k = k[(load[k - 1] > 0) & (load[k - 1] < load[-1])]
        found = _changes_at(self.mine, self.counterpart, k)
        return max(found, key=lambda c: abs(c.errors), default=None)

    @cached_property
    def evenly(self) -> ShareChange:
        """The share as it changes evenly through the flight, or as a servo warms up."""
        return even_change(self)


def _means(x: FloatArray, size: int, count: int) -> FloatArray:
    return np.asarray(x[: count * size].reshape(count, size).mean(axis=1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A changed share: from which block on, the shares before and after, relative error."""

    kind: UnusualKind
    at: int
    before: float
    now: float
    error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareChange:
    """Shares before and after the ``k``-th stretch (a step) or early and late (a climb).

    ``errors`` are standard errors of the difference, as a standard normal value; ``left`` the
    squares that it leaves of ``size`` stretches.
    """

    k: int
    before: float
    now: float
    errors: float
    left: float
    size: int

    @property
    def factor(self) -> float:
        """The later share as a multiple of the earlier one, at least 0."""
        return max(self.now, 0.0) / max(self.before, 1e-6)

    def share(self, kind: UnusualKind, at: float) -> Share:
        """The same as what it means, from a block on."""
        error = abs(self.now - self.before) / max(abs(self.errors), 1e-6) / max(self.before, 1e-6)
        return Share(kind=kind, at=int(at), before=self.before, now=max(self.now, 0.0), error=error)


def _sides(a: FloatArray, b: FloatArray, inside: BoolArray) -> tuple[FloatArray, ...]:
    """The share in some rows, its variance, the squares left, and the sum of the counterpart.

    Weighted as errors grow with the load. Each of shape (m,), for rows of shape (m, n).
    """
    count, load = inside.sum(axis=1), inside @ b
    share = inside @ a / load
    e = np.where(inside, a - share[:, None] * b, 0.0)
    left = np.einsum("ij,ij->i", e, e)
    hang = np.minimum(each_together(e, count, _LAGS), count / 3)
    return share, hang * left * count / (count - 1) / load**2, left, load


def _changes_at(mine: FloatArray, counterpart: FloatArray, k: IntArray) -> list[ShareChange]:
    """The shares before and after the ``k``-th stretch, for each k.

    A side of few stretches does not know its own scatter: it is taken as no less than that of
    both together, on the side of the smaller share as much less as the share is.
    """
    early = np.arange(mine.size) < k[:, None]
    sides = [_sides(mine, counterpart, inside) for inside in (early, ~early)]
    (before, _, left_before, _), (now, _, left_now, _) = sides
    left = left_before + left_now
    pooled = left / max(mine.size - 2, 1) / float(counterpart.mean())
    larger = np.maximum(np.maximum(np.abs(before), np.abs(now)), 1e-6)
    variance = sum(
        np.maximum(own, pooled * (share / larger) ** 2 / load) for share, own, _, load in sides
    )
    error = np.sqrt(variance + (_KNOWN * np.maximum(before, now)) ** 2)
    errors = _scores((now - before) / np.maximum(error, 1e-9), mine.size - 2)
    return [
        ShareChange(
            k=int(at),
            before=float(x),
            now=float(y),
            errors=float(e),
            left=float(squares),
            size=mine.size,
        )
        for at, x, y, e, squares in zip(k, before, now, errors, left, strict=True)
    ]


def _scores(t: ArrayLike, free: int) -> FloatArray:
    """Differences over errors that were found from so many free residuals, as normal values."""
    return normal_scores(np.asarray(t), np.asarray(float(max(free, 1))), _MOST)


def even_change(s: Shared, *, like_load: bool = False) -> ShareChange:
    """The share as it changes evenly through the flight, or as a servo warms up."""
    x = (np.arange(s.mine.size) + 0.5) * s.seconds
    third = max(1, x.size // 3)
    ways = (x / x[-1], 1.0 - np.exp(-x / _WARM_S))
    found = [
        _along(s, w, float(w[:third].mean()), float(w[-third:].mean()), like_load=like_load)
        for w in ways
    ]
    return min(found, key=lambda c: c.left)


def _along(s: Shared, x: FloatArray, early: float, late: float, *, like_load: bool) -> ShareChange:
    """The share as it changes from early to late values of x, by least squares.

    At like load (``like_load``) besides as it changes with the load: two wings do not share calm
    and wild flying alike.
    """
    over = np.maximum(s.counterpart, _CALM * s.counterpart.mean()) / s.counterpart.mean()
    columns = [s.counterpart, s.counterpart * x]
    columns += [s.counterpart * np.log(over)] if like_load else []
    design = np.stack(columns, axis=1)
    weight = 1.0 / np.sqrt(np.maximum(s.counterpart, 0.2 * s.counterpart.mean()))[:, None]
    coef, *_ = np.linalg.lstsq(design * weight, s.mine * weight[:, 0], rcond=None)
    e = s.mine - design @ coef
    scaled = e * weight[:, 0]
    hang = min(together(scaled, _LAGS), x.size / 4)
    spread = np.linalg.pinv((design * weight).T @ (design * weight))
    error = np.sqrt(spread[1, 1] * float(scaled @ scaled) / (x.size - len(columns)) * hang)
    return ShareChange(
        k=0,
        before=float(coef[0] + coef[1] * early),
        now=float(coef[0] + coef[1] * late),
        errors=float(_scores(coef[1] / max(float(error), 1e-9), x.size - len(columns))),
        left=float(e @ e),
        size=x.size,
    )


def _at_like_load(change: ShareChange, like: ShareChange) -> bool:
    """Whether a changed share is told at comparable load too: else the pilot flew differently."""
    if like.errors * np.sign(change.errors) < _LIKE_ERRORS or like.before <= 0:
        return False
    moved, alike = (float(np.log(max(c.factor, _NOTHING))) for c in (change, like))
    return bool(alike * np.sign(moved) >= _LIKE_PART * abs(moved))


def climbing(s: Shared, *, gained_rest: bool = False) -> Share | None:
    """A share that rises by degrees, as of a servo that heats up.

    No servo falls silent by degrees: of two mirrors the one that rises against the other. A rest on
    the ground that rose as well (``gained_rest``) speaks for itself: fewer errors are asked.
    """
    climb, step = s.evenly, s.step
    least = _ROSE if s.mirror else _ROSE_OTHERS
    # What other surfaces or the sticks ask of a node changes in the course of a flight.
    alone = _CLIMB_ERRORS if s.mirror else _ERRORS
    sure = _ERRORS_GAINED if gained_rest else alone
    if climb.errors < sure or climb.before <= 0 or climb.factor < least:
        return None
    if step is not None and not by_degrees(climb, step, sure):
        return None
    if not (gained_rest or _at_like_load(climb, even_change(s, like_load=True))):
        return None
    return climb.share(UnusualKind.HEATS, 0)


def by_degrees(climb: ShareChange, step: ShareChange, sure: float = _CLIMB_ERRORS) -> bool:
    """Whether it changed evenly rather than at an instant, which was sought."""
    gained = step.size * np.log(climb.left / max(step.left, 1e-12))
    return bool(abs(climb.errors) >= sure and gained < _SOUGHT * np.log(step.size))


def changed_share(
    s: Shared,
    others: Sequence[FloatArray],
    *,
    lost_rest: bool = False,
    gained_rest: bool = False,
) -> Share | None:
    """A share that fell at an instant for good (a servo went silent), or rose.

    Of two mirrors the one went silent, unless the remaining places tell that the other one rose.
    A rest on the ground that fell or rose as well speaks for itself: fewer errors are asked.

    Parameters
    ----------
    s : Shared
    others : sequence of ndarray
        What the remaining places draw over rest, and the sticks say, block by block, A.
    lost_rest, gained_rest : bool
    """
    step = s.step
    if step is None or step.before <= 0:
        return None
    moved = abs(step.now - step.before) * float(s.counterpart.mean())
    if moved < (_PART if s.mirror else _PART_OTHERS) * s.usual:
        return None
    sudden, late = not by_degrees(s.evenly, step), np.arange(s.mine.size) >= step.k
    if s.mirror and _moved_alike(s, step, late):
        return None
    like = _at_like_load(step, _along(s, late.astype(np.float64), 0.0, 1.0, like_load=True))
    if not (like or lost_rest or gained_rest):
        return None
    at, other = float(s.first[step.k]), s.swapped()
    fell, sure = (_FELL, _ERRORS) if s.mirror else (_FELL_OTHERS, _ERRORS_OTHERS)
    if lost_rest:
        fell, sure = _FELL, _ERRORS_TWO
    down = step.errors <= -sure and step.factor <= fell and (sudden or lost_rest)
    down = down and (s.mirror or lost_rest or _fell_itself(s, step, late))
    if down and s.mirror and step.before >= HARDLY and not lost_rest:
        return None  # its mirror's servos hardly moved until then: what they begin, this one keeps
    if down and (lost_rest or other is None or not _rose(other, step.k, others)):
        return step.share(UnusualKind.SILENT, at)
    if gained_rest:
        rose = step.errors >= _ERRORS_TWO and step.factor >= _ROSE
    else:
        rose = s.mirror and sudden and step.errors >= _ERRORS and step.factor >= _ROSE
        rose = rose and _rose(s, step.k, others)
    return step.share(UnusualKind.RAISED, at) if rose else None


def _fell_itself(s: Shared, step: ShareChange, late: BoolArray) -> bool:
    """Whether a share of other surfaces fell because this place draws less, not they more.

    And not with the climb-out or the approach alone, which ask them for other work.
    """
    if not _ENDS <= float(late.mean()) <= 1.0 - _ENDS:
        return False
    own = max(float(s.mine[late].mean()), 0.0) / max(float(s.mine[~late].mean()), 1e-6)
    return bool(own <= max(step.factor, _NOTHING) ** _ITS_OWN)


def _moved_alike(s: Shared, step: ShareChange, late: BoolArray) -> bool:
    """Whether its mirror moved the same way, by most of the amperes: flaps, gear or brakes."""
    by_share = (step.now - step.before) * float(s.counterpart[late].mean())
    moved = np.array([x[late].mean() - x[~late].mean() for x in (s.mine, s.counterpart)])
    mine, other = (float(x) for x in moved * np.sign(by_share))
    return min(mine, other) > 0 and mine - other < _OWN_PART * abs(by_share)


def _rose(s: Shared, k: int, others: Sequence[FloatArray]) -> bool:
    """Whether this one rose at an instant, by what the others did, and its mirror did not fall.

    Without others: where it rose manifold and its mirror stayed as it was.
    """
    if not s.mirror:
        return False
    if not others:
        own, other = (
            float(np.log(max(x[k:].mean(), 1e-4) / max(x[:k].mean(), 1e-4)))
            for x in (s.mine, s.counterpart)
        )
        return own >= _ALONE and abs(other) <= _STAYED * own
    size = int(s.first[1] - s.first[0])
    told = np.mean([_means(x, size, s.mine.size) / max(x.mean(), 1e-6) for x in others], axis=0)
    reference = np.maximum(told, 0.0)
    if min(reference[:k].sum(), reference[k:].sum()) <= 0:
        return False
    errors, beside = (
        _changes_at(x, reference, np.array([k]))[0].errors for x in (s.mine, s.counterpart)
    )
    return errors >= _ROSE_ERRORS and errors >= -2.0 * beside
