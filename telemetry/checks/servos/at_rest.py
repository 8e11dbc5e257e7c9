"""A place that moves as before and rests at another current: what no moving current shows.

A servo that hardly works in flight (a flap, a throttle) shows in no moving current when it fails or
comes off its plug, but what it drew at rest is missing. One that is held against a stop, or another
consumer, adds to the current at rest alone.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from telemetry.checks.aircraft_history import (
    AircraftHistory,
    JudgedAcross,
    JudgedTrend,
    established,
    usual,
)
from telemetry.checks.draft import FindingDraft
from telemetry.checks.servos.claims import SILENT_PART, place_parts
from telemetry.results import Level
from telemetry.trends.evidence import Judgement
from telemetry.trends.parts import EvidencePart, log_odds, moved_since

# What is missing or more, in resolution steps and in A, at least (heuristic).
_STEPS, _LEAST_A = 2.0, 0.01


def judge_rest(
    history: AircraftHistory,
    place: str,
    others: tuple[str, ...],
    sound: tuple[str, ...],
    found: JudgedAcross,
) -> FindingDraft | None:
    """The finding of a place that rests lower or higher, or None; its trend goes to ``found``.

    A lower rest is servo-silent where it came by a step of about a servo's share, a higher one
    servo-current-rising; both at watch, for it may be another consumer.

    Parameters
    ----------
    history : AircraftHistory
    place : str
    others : tuple of str
        What it is set against: its mirror, or others beyond doubt; () for its own past alone.
    sound : tuple of str
        All other places that are not suspect.
    found : JudgedAcross
    """
    rests = _rests(history, place, others)
    if not rests:
        return None
    first = history.first(place, *others)
    for sign in (-1.0, 1.0):
        j = history.judge(rests, first, place, sign=sign, logarithmic=True)
        if j is None or j.signal is None or j.onset is None:
            continue
        before = usual(history.table, place, "rest_a", j.first, int(j.at[j.onset]))
        if before is None or not _counts(history, place, j, sign, before):
            continue
        if not _rather_the_mirror(history, place, others, sound, j, sign):
            return _finding(history, place, others, j, sign, before, found)
    return None


def _counts(
    history: AircraftHistory, place: str, j: Judgement, sign: float, before_a: float
) -> bool:
    """Whether the change is a servo's, by its share of the place, and one that its sensor shows."""
    servos, _ = history.servos(place)
    step_a = float(history.table.steps_a(place).max())
    if before_a * j.now < max(_STEPS * step_a, _LEAST_A):
        return False
    if sign < 0:
        return j.step and j.now >= SILENT_PART / servos
    return 100.0 * j.now * servos >= history.limits.servo_watch_pct


def _finding(
    history: AircraftHistory,
    place: str,
    others: tuple[str, ...],
    j: Judgement,
    sign: float,
    before_a: float,
    found: JudgedAcross,
) -> FindingDraft:
    assert j.onset is not None
    since, n = int(j.at[j.onset]), len(history.flights)
    code, more = ("servo-current-rising", "more") if sign > 0 else ("servo-silent", "less")
    quantity, scale = "current at rest", 100.0 * sign
    found.trends.append(
        JudgedTrend(code, place, j, quantity=f"change of {quantity}", unit="%", scale=scale)
    )
    servos, known = history.servos(place)
    against = " and ".join(others) if others else "its own earlier flights"
    return established(
        history,
        code,
        place,
        j,
        level=Level.WATCH,
        title=f"{place} rests at {100 * j.now:.0f} % {more} current than usual, measured against "
        f"{against}; its moving current is as before",
        quantity=quantity,
        unit="A",
        rise_unit="%",
        scale=scale,
        before=before_a,
        now=usual(history.table, place, "rest_a", max(since, n - 3), n),
        evidence={
            "servos": servos,
            "servos_known": "yes" if known else "assumed",
            "rest_alone": True,
            "compared_with": against,
        },
    )


def _rests(history: AircraftHistory, place: str, others: tuple[str, ...]) -> list[EvidencePart]:
    parts = (p for p in place_parts(history, place, others) if p.name == "rest")
    return [replace(p, response=1.0, doubt=0.0) for p in parts]


def _rather_the_mirror(
    history: AircraftHistory,
    place: str,
    others: tuple[str, ...],
    sound: tuple[str, ...],
    j: Judgement,
    sign: float,
) -> bool:
    """Whether it was rather the mirror's rest that moved the other way, by the other places."""
    mirror = history.aircraft.mirror(place, others)
    if mirror is None or others != (mirror,):
        return False
    assert j.onset is not None
    learn = np.arange(len(history.flights)) < j.at[j.onset]
    moved = float(np.log1p(max(sign * j.mean_rise, -0.95)))
    beyond = tuple(p for p in sound if p != mirror)
    lean = 0.0
    for one, if_own, if_mirror in ((place, moved, 0.0), (mirror, 0.0, -moved)):
        for part in _rests(history, one, beyond):
            seen = moved_since(part.since(history.first(one, *beyond)), learn)
            if seen is not None:
                lean += log_odds(*seen, if_own, if_mirror)
    return lean < 0
