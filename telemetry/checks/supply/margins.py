"""The margin to the restart level: as observed, and with one pack lost."""

from __future__ import annotations

from telemetry.aircraft import Limits
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import FITFUL, Check, CheckPart, Closing
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import SLOWEST_DIP_S, Needs, behind_packs, long_enough
from telemetry.checks.packs.silent import lost_in_flight
from telemetry.measure.supply.nearness import near_restart
from telemetry.model.channels import Quantity
from telemetry.results import Flight, Level, Margin, Origin


def margins(facts: FlightFacts) -> list[FindingDraft]:
    """Places near the restart level: as observed, and with one pack lost."""
    flight, limits = facts.flight, facts.limits
    out: list[FindingDraft] = []
    known = [m for m in flight.margins if m.observed_v is not None]
    low = [m for m in known if (m.observed_v or 0.0) < limits.margin_watch_v]
    if low:
        out.append(_observed(min(low, key=lambda m: m.observed_v or 0.0), low, flight, limits))
    lost = [
        (m, c)
        for m in flight.margins
        for c in m.cases
        if c.case == "pack-lost" and c.voltage_v is not None
    ]
    if lost and not lost_in_flight(flight):  # with a pack gone already, the case has happened
        m, c = min(lost, key=lambda x: (x[1].voltage_v or 0.0) - x[0].restart_v)
        margin = (c.voltage_v or 0.0) - m.restart_v
        level = near_restart(c, m.restart_v, limits) or Level.CLEAR
        if level > Level.CLEAR:
            out.append(
                FindingDraft(
                    code="margin-low",
                    level=level,
                    place=m.place,
                    title=f"{m.place}: with one pack lost, the highest current seen would leave "
                    f"{_beside(margin, 1)} the restart level",
                    evidence={
                        "case": c.case,
                        "margin_v": margin,
                        "voltage_v": c.voltage_v,
                        "low_v": c.low_v,
                        "high_v": c.high_v,
                        "current_a": c.current_a,
                        "restart_v": m.restart_v,
                    },
                )
            )
    return out


def _beside(margin_v: float, digits: int) -> str:
    """A margin in words: "0.42 V above", "1.4 V below"."""
    return f"{abs(margin_v):.{digits}f} V {'above' if margin_v >= 0 else 'below'}"


def _observed(worst: Margin, low: list[Margin], flight: Flight, limits: Limits) -> FindingDraft:
    deepest = [
        e
        for e in flight.events
        if e.place == worst.place
        and e.residual_v is not None
        and e.residual_v <= (worst.lowest_v or 0.0)
    ]
    event = deepest[0] if deepest else None
    single = event is not None and (event.updates or 0) <= 1 and event.origin is not Origin.LOAD
    grave = (worst.observed_v or 0.0) < limits.margin_ground_v and not single
    others = tuple(m.place for m in low if m is not worst)
    return FindingDraft(
        code="margin-low",
        level=Level.GROUND if grave else Level.WATCH,
        place=worst.place,
        title=f"{worst.place}: lowest voltage {worst.lowest_v:.2f} V, "
        f"{_beside(worst.observed_v or 0.0, 2)} the restart level",
        evidence={
            "lowest_v": worst.lowest_v,
            "restart_v": worst.restart_v,
            "margin_v": worst.observed_v,
            "also_low": ", ".join(others) or None,
        },
        also=others,
        start_s=None if event is None else event.start_s,
        end_s=None if event is None else event.end_s,
    )


def _sees(facts: FlightFacts, place: str | None) -> str:
    """Whether it looked at a lost pack as well is said too."""
    cases = [c for m in facts.flight.margins if m.place == place for c in m.cases]
    lost = any(c.case == "pack-lost" and c.voltage_v is not None for c in cases)
    beside = "; with one pack lost as well" if lost else "; not what a lost pack would leave"
    level_v = facts.aircraft.restart_v(place or "") + facts.limits.margin_watch_v
    return f"less than {level_v:.1f} V{long_enough(facts, place)}{beside}"


MARGIN_LOW = Check(
    code="margin-low",
    part=CheckPart.SUPPLY,
    closing=Closing(flights=FITFUL),
    question="Does the supply come near the restart level, or would it with one pack lost?",
    meaning="The lowest voltage, or the one to expect with one pack lost, is near the restart "
    "level.",
    bench="stir again with full, warm and sound packs; compare the restart level in force with the "
    "data sheets.",
    words=Words(
        (
            "the packs are weak, cold or nearly empty for this load",
            "resistance in the path: switch, leads, connectors",
            "the restart level in force is not that of your equipment",
        ),
        "Repeat the stir with full, warm and sound packs and compare; look up the restart level of "
        "your receiver and units in their data sheets.",
        "Fit packs that are full and sound, and shorten or thicken the path before the next "
        "flight.",
        kinds=(
            CauseKind.WEAK_PACKS,
            CauseKind.SUPPLY_PATH,
            CauseKind.LEVEL_IN_FORCE,
        ),
    ),
    in_flight=(margins,),
    needs=Needs(
        at=behind_packs,
        own=(Quantity.VOLTAGE,),
        slowest_s=SLOWEST_DIP_S,
        essential="always",
    ),
    sees=_sees,
    worst_by="margin_v",
    worst_step=0.2,
    lower_is_worse=True,
)
