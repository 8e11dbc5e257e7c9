"""A unit's own counter against the current added up: in one flight, and across flights."""

from __future__ import annotations

import math

import numpy as np

from telemetry.checks.aircraft_history import (
    AircraftHistory,
    JudgedAcross,
    Looked,
    Unjudged,
    established,
    least_change,
)
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import Needs, Refusal, counting_charge
from telemetry.checks.servos.across import judge_servos
from telemetry.measure.charge_state import counter_mismatch
from telemetry.model.channels import Quantity
from telemetry.results import Level, NotJudged
from telemetry.trends.parts import EvidencePart

# Counter over current: change that is reported, and usual scatter from flight to flight
# (heuristic).
_COUNTER_WATCH, _COUNTER_SIGMA = 0.10, 0.02


def capacity(facts: FlightFacts) -> list[FindingDraft]:
    """A unit's own counter against the current added up."""
    steps = facts.steps(Quantity.CONSUMED)
    out = []
    for c in facts.flight.charge:
        if c.logged_mah is None or c.integrated_mah is None:
            continue
        uncertain = math.hypot(c.uncertain_mah or 0.0, steps.get(c.place, 0.0))
        held = counter_mismatch(c.logged_mah, c.integrated_mah, uncertain)
        if held is None or not held.differs:
            continue
        out.append(
            FindingDraft(
                code="capacity-mismatch",
                level=Level.WATCH,
                place=c.place,
                title=f"{c.place}: counter {c.logged_mah:.0f} mAh, "
                f"current added up {c.integrated_mah:.0f} mAh",
                evidence={
                    "logged_mah": c.logged_mah,
                    "integrated_mah": c.integrated_mah,
                    "ratio": held.ratio.value,
                    "low_ratio": held.ratio.low,
                    "high_ratio": held.ratio.high if math.isfinite(held.ratio.high) else None,
                },
            )
        )
    return out


def judge_counters(history: AircraftHistory) -> JudgedAcross:
    """Finding capacity-mismatch of a counter: it drifted against the current added up."""
    found = JudgedAcross()
    for place, feature in history.table.measured:
        if feature == "counter_ratio":
            judge_counter(history, place, found)
    return found


def judge_counter(history: AircraftHistory, place: str, found: JudgedAcross) -> None:
    """Whether the charge counter of a place left its usual ratio to the logged current."""
    value, se = history.table.column(place, "counter_ratio")
    at = np.flatnonzero(value > 0)
    if at.size == 0:
        return
    part = EvidencePart(
        name="counter_ratio",
        at=at,
        y=np.log(value[at]),
        se=se[at] / value[at],
        sigma=_COUNTER_SIGMA,
    )
    for sign, more in ((1.0, "more"), (-1.0, "less")):
        j = history.judge([part], history.first(place), place, sign=sign, logarithmic=True)
        if j is None:
            why = f"counter of {place}: fewer than three flights tell it"
            few = Unjudged(("capacity-mismatch",), place, NotJudged.TOO_FEW_FLIGHTS, why)
            found.not_judged.append(few)
            continue
        told = 100 * least_change(float(j.sd[-1]), j.limit, _COUNTER_WATCH)
        found.looked.append(Looked("capacity-mismatch", place, f"a counter {told:.0f} % off"))
        if j.signal is None or j.now < _COUNTER_WATCH:
            continue
        found.drafts.append(
            established(
                history,
                "capacity-mismatch",
                place,
                j,
                level=Level.WATCH,
                title=f"{place}: the counter says {100 * j.now:.0f} % {more} than its current "
                "adds up to, compared with earlier flights",
                quantity="counter over current",
                unit="",
                rise_unit="%",
                scale=100.0 * sign,
            )
        )
        return


def _sees(facts: FlightFacts, place: str | None) -> str | Refusal:
    charge = next((c for c in facts.flight.charge if c.place == place), None)
    if charge is None or charge.logged_mah is None or charge.integrated_mah is None:
        why = "it takes a current and a counter of used charge at one place"
        return Refusal(NotJudged.UNLOGGED, why, "log current and used charge of the same place")
    step_mah = facts.steps(Quantity.CONSUMED).get(charge.place, 0.0)
    uncertain = math.hypot(charge.uncertain_mah or 0.0, step_mah)
    held = counter_mismatch(charge.logged_mah, charge.integrated_mah, uncertain)
    if held is None:
        why = "too little charge was drawn to hold the two against one another"
        return Refusal(NotJudged.CALM, why, "log a whole flight")
    off = held.ratio.value / held.ratio.low - 1.0 if held.ratio.low > 0 else 1.0
    return f"a counter {100 * off:.0f} % off"


CAPACITY_MISMATCH = Check(
    code="capacity-mismatch",
    part=CheckPart.SENSORS,
    question="Do counter and current disagree, or a current sensor with what it used to read?",
    meaning="The counter and the integrated current do not agree.",
    bench="compare the charge that goes back in with both.",
    words=Words(
        (
            "a current sensor is off in gain or offset",
            "the log misses part of the time the counter saw",
            "peaks of the current between two readings",
        ),
        "Compare the charge that goes back in with both numbers.",
        "Plan flights by the larger of the two numbers until it is settled.",
        kinds=(CauseKind.CURRENT_SENSOR, CauseKind.LOG_GAPS, CauseKind.MISSED_PEAK),
    ),
    words_across=Words(
        (
            "a current sensor that drifted",
            "a counter that is reset or scaled otherwise than before",
            "a log that misses part of the time the counter saw",
        ),
        "Compare the charge that goes back in with both numbers.",
        "Plan flights by the larger of the two numbers until it is settled.",
        kinds=(CauseKind.CURRENT_SENSOR, CauseKind.COUNTER_SCALE, CauseKind.LOG_GAPS),
    ),
    in_flight=(capacity,),
    needs=Needs(at=counting_charge, phases=()),
    sees=_sees,
    across=(judge_servos, judge_counters),
    proof="charge",
)
