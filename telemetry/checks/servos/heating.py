"""Servos that draw more as they warm: the current rises within each flight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from telemetry.checks.aircraft_history import (
    AircraftHistory,
    JudgedAcross,
    JudgedTrend,
    Unjudged,
    established,
)
from telemetry.checks.draft import FindingDraft
from telemetry.results import OF_ONE_SERVO, Level, NotJudged
from telemetry.trends.evidence import Judgement
from telemetry.trends.parts import EvidencePart, log_odds, moved_since
from telemetry.trends.ratios import ramp_part

# Mean current of a flight for a unit of rise from cold to warm (heuristic: a flight is half warming
# up, and holding dilutes it), and how unsure that is, relative.
_AIR_RESPONSE, _AIR_DOUBT = 0.35, 0.6
# Odds (log) from which a place that draws more is reported as heating instead.
_RATHER_HEATING = 3.0


def judge_heating(
    history: AircraftHistory,
    place: str,
    parts: Sequence[EvidencePart],
    sound: tuple[str, ...],
    rising: bool,
    found: JudgedAcross,
) -> FindingDraft | None:
    """The finding servo-heating of one place, or None; its trend is added to ``found``.

    A hot servo shows in the air, more so late in a flight, and not in the stir before it.

    Parameters
    ----------
    history : AircraftHistory
    place : str
    parts : sequence of EvidencePart
        Stir, air and rest current against other places.
    sound : tuple of str
        Other places that are not suspect.
    rising : bool
        Whether the place is reported to draw more already; only clear odds then make it heating.
    found : JudgedAcross
    """
    mirror = history.aircraft.mirror(place, sound) is not None
    ramp = ramp_part(history.table, place, sound, mirror=mirror) if sound else None
    if ramp is None:
        why = f"warming of {place}: no flight has it beside another place that is beyond doubt"
        log = "log the currents of all nodes through whole flights"
        found.not_judged.append(
            Unjudged(("servo-heating",), place, NotJudged.NO_COUNTERPART, why, log)
        )
        return None
    air = [replace(p, response=_AIR_RESPONSE, doubt=_AIR_DOUBT) for p in parts if p.name == "air"]
    j = history.judge([ramp, *air], history.first(place, *sound), place)
    if j is None:
        why = f"warming of {place}: fewer than three flights tell it"
        few = Unjudged(("servo-heating",), place, NotJudged.TOO_FEW_FLIGHTS, why)
        found.not_judged.append(few)
        return None
    servos, known = history.servos(place)
    found.trends.append(
        JudgedTrend(
            "servo-heating",
            place,
            j,
            quantity="rise from cold to warm per average servo share",
            unit="%",
            scale=100.0 * servos,
            watch=history.limits.servo_watch_pct,
            ground=history.limits.servo_ground_pct,
        )
    )
    pct = history.servo_pct(place, j)
    if j.signal is None or j.onset is None or pct < history.limits.servo_watch_pct:
        return None
    if ramp.at[-1] < j.at[j.onset]:
        return None  # more in the air alone is no warming: no flight since tells how it rose
    if odds_of_heat(history, [*parts, ramp], j) < (_RATHER_HEATING if rising else 0.0):
        return None
    grave = j.sure and pct >= history.limits.servo_ground_pct
    against = " and ".join(sound)
    return established(
        history,
        "servo-heating",
        place,
        j,
        level=Level.GROUND if grave else Level.WATCH,
        title=f"{place}: current rises by {100 * j.now:.0f} % as it warms in a flight, against "
        f"{against}: about {pct:.0f} % of one servo's share"
        + ("" if known else f" (assuming {servos} servos there)"),
        quantity="rise within a flight",
        unit="%",
        rise_unit=OF_ONE_SERVO,
        scale=100.0 * servos,
        limit=None if grave else history.limits.servo_ground_pct,
        evidence={
            "ramp_pct": 100.0 * j.now,
            "servo_share_pct": pct,
            "servos": servos,
            "servos_known": "yes" if known else "assumed",
            "compared_with": against,
        },
    )


def odds_of_heat(history: AircraftHistory, parts: Sequence[EvidencePart], j: Judgement) -> float:
    """Log of the odds that the place heats, rather than draws more cold as well as warm."""
    assert j.onset is not None
    learn = np.arange(len(history.flights)) < j.at[j.onset]
    air = next((p.response for p in parts if p.name == "air"), 1.0)
    rise = j.mean_rise
    cold = rise * _AIR_RESPONSE / air
    total = 0.0
    for part in parts:
        if part.name == "air":
            continue  # it says the same of both
        seen = moved_since(part.since(j.first), learn)
        if seen is not None:
            if_hot, if_cold = (rise, 0.0) if part.name == "ramp" else (0.0, cold * part.response)
            total += log_odds(*seen, if_hot, if_cold)
    return total
