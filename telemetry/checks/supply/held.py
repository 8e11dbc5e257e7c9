"""What a regulator holds its bus at, flight after flight: a set-point that drifts."""

from __future__ import annotations

import numpy as np

from telemetry.checks.aircraft_history import (
    AircraftHistory,
    JudgedAcross,
    JudgedTrend,
    Unjudged,
    established,
)
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.draft import Words
from telemetry.checks.tree import fed_places, packs_of, root_of
from telemetry.model.log import FloatArray
from telemetry.results import Level, NotJudged
from telemetry.trends.evidence import Judgement
from telemetry.trends.parts import EvidencePart, part_of

# So far above a bus that a regulator holds lie packs at rest, V: no diode takes it (heuristic).
_ABOVE_V = 0.6
# Scatter of a held voltage at rest from flight to flight, and what is told of it, V (heuristic:
# regulators keep their set-point within two or three per cent).
_SIGMA_V, _TOLD_V = 0.02, 0.15

HELD_WORDS = Words(
    (
        "the regulator drifts: what it holds is no longer what it was set to",
        "its set-point was changed without a note in the book",
        "a switch, plug or lead between regulator and bus",
        "the voltage sensor, where no other place shows the same",
    ),
    "Measure the bus with a meter, at no load and under load, and compare with the set-point.",
    "See that the regulator holds its set-point, cold and warm; note what was done.",
    "Do not fly until the bus holds its set-point under load; note what was done.",
    kinds=(
        CauseKind.REGULATOR_DRIFT,
        CauseKind.UNNOTED_CHANGE,
        CauseKind.SUPPLY_PATH,
        CauseKind.UNLIKE_SENSORS,
    ),
)


def judge_held(history: AircraftHistory) -> JudgedAcross:
    """Finding regulator-droop across flights: the bus rests lower, or higher, than it used to.

    Told by the median of the places at the bus and below it, so that no sensor alone moves it
    where there are several.
    """
    found = JudgedAcross()
    root = root_of(history) or "bus"
    part = held_part(history, root)
    if part is None:
        why = f"what {root} is held at: no regulator is seen to hold it below its packs"
        log = "log the voltage of packs and bus, and say 'regulated_v' in the profile"
        not_held = Unjudged(("regulator-droop",), root, NotJudged.UNLOGGED, why, log)
        found.not_judged.append(not_held)
        return found
    for sign in (-1.0, 1.0):
        j = history.judge([part], history.first(root), root, sign=sign)
        if j is not None:
            _tell(history, root, part, j, sign, found)
    return found


def _tell(
    history: AircraftHistory,
    root: str,
    part: EvidencePart,
    j: Judgement,
    sign: float,
    found: JudgedAcross,
) -> None:
    lower = sign < 0
    quantity = "fall of the held voltage" if lower else "rise of the held voltage"
    trend = JudgedTrend("regulator-droop", root, j, quantity=quantity, unit="V", watch=_TOLD_V)
    found.trends.append(trend)
    if j.signal is None or j.onset is None or j.now < _TOLD_V:
        return
    since = int(j.at[j.onset])
    before = part.y[(part.at >= j.first) & (part.at < since)]
    usual = float(np.median(before))
    now = usual + sign * j.now
    found.drafts.append(
        established(
            history,
            "regulator-droop",
            root,
            j,
            level=Level.WATCH,
            title=f"{root} is held at {now:.2f} V at rest, {j.now:.2f} V "
            f"{'lower' if lower else 'higher'} than it used to be",
            quantity="voltage of the bus at rest",
            unit="V",
            rise_unit="V",
            scale=sign,
            before=usual,
            now=now,
            evidence={"held_v": now, "usual_v": usual},
        )
    )


def held_part(history: AircraftHistory, root: str) -> EvidencePart | None:
    """Voltage at rest of the bus and what hangs at it, of flights in which a regulator held it."""
    packs = [v for p in packs_of(history) if np.isfinite(v := _rest_v(history, p)[0]).any()]
    if not packs:
        return None
    told = [_rest_v(history, p) for p in (root, *(p for p, _ in fed_places(history)))]
    volts, se = (np.array(x) for x in zip(*told, strict=True))
    # Places that no flight lacks: one more or less of them would move the median.
    whole = np.isfinite(volts[:, np.isfinite(volts).any(axis=0)]).all(axis=1)
    if not whole.any():
        return None
    level = np.median(volts[whole], axis=0)
    lowest = np.nanmin(np.where(np.isfinite(packs), packs, np.inf), axis=0)
    held = history.aircraft.regulated_v is not None or (lowest - level >= _ABOVE_V)
    return part_of(
        "held_v",
        np.where(held & np.isfinite(lowest), level, np.nan),
        np.median(se[whole], axis=0),
        sigma=_SIGMA_V,
    )


def _rest_v(history: AircraftHistory, place: str) -> tuple[FloatArray, FloatArray]:
    return history.table.column(place, "rest_v")
