"""A node whose current does not fall back after a stir while the others' do."""

from __future__ import annotations

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import FindingDraft, Words, clock
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import Needs, Refusal, drawing
from telemetry.checks.servos.in_flight import servo_findings
from telemetry.measure.currents.rests import least_over
from telemetry.model.channels import Quantity
from telemetry.results import Level, NotJudged, PhaseKind, StirPlace, UnusualKind


def resting(facts: FlightFacts) -> list[FindingDraft]:
    """A node whose current does not fall back after a stir while the others' do."""
    aircraft, steps = facts.aircraft, facts.steps("current")
    told = {u.place for u in facts.flight.unusual if u.kind is not UnusualKind.STEADY}
    out = []
    for stir in facts.flight.stirs:
        nodes = [
            p
            for p in stir.places
            if aircraft.node(p.place) is not None
            and p.place != aircraft.root
            and p.rest_a is not None
            and p.after_a is not None
        ]
        raised = [
            p
            for p in nodes
            if (p.after_a or 0.0) - (p.rest_a or 0.0) > _least_a(p, steps.get(p.place, 0.0))
        ]
        # All nodes up together is the engine, the gear or the pilot's hand, not one servo.
        if len(raised) == 1 and len(nodes) > 1 and raised[0].place not in told:
            p = raised[0]
            out.append(
                FindingDraft(
                    code="servo-not-resting",
                    level=Level.WATCH,
                    place=p.place,
                    title=f"{p.place}: {p.after_a:.2f} A after the stir at {clock(stir.start_s)}, "
                    f"{p.rest_a:.2f} A before",
                    evidence={"rest_a": p.rest_a, "after_a": p.after_a, "time_s": stir.start_s},
                )
            )
    return out[:1]


def _least_a(p: StirPlace, step_a: float) -> float:
    """The rise of the current at rest that counts, A (heuristic)."""
    return max(0.2, 0.5 * (p.rest_a or 0.0), 3.0 * step_a)


def _sees(facts: FlightFacts, place: str | None) -> str | Refusal:
    steady = (u for u in facts.flight.unusual if u.kind is UnusualKind.STEADY)
    always = next((u for u in steady if u.place == place), None)
    if always is not None:
        why = (
            f"{always.now:.1f} A flow there all the time: this log cannot tell a load by design "
            "from servos that strain"
        )
        return Refusal(NotJudged.UNCERTAIN, why, "log a stir with that load switched off")
    steps = facts.steps("current")
    read = [
        _least_a(p, steps.get(p.place, 0.0))
        for stir in facts.flight.stirs
        for p in stir.places
        if p.place == place and p.rest_a is not None and p.after_a is not None
    ]
    if not read:
        why = "its current was not read at rest before and after a stir"
        return Refusal(NotJudged.CALM, why, "leave some seconds at rest before and after a stir")
    after = f"{min(read):.2f} A more after a stir than before"
    rests = {p.place: p.rest_a for p in facts.flight.stirs[0].places if p.rest_a is not None}
    mirror = facts.aircraft.mirror(place or "", set(rests))
    others = [a for p, a in rests.items() if p != place and facts.aircraft.node(p) is not None]
    usual = rests[mirror] if mirror is not None else max(others, default=None)
    if usual is None:
        return after
    least = least_over(usual, mirror=mirror is not None)
    return f"{after}, or {least:.1f} A more at rest than {mirror or 'any other node'}"


SERVO_NOT_RESTING = Check(
    code="servo-not-resting",
    part=CheckPart.SERVOS,
    question="Does one node draw current at rest that no other does, or stay up after the stir?",
    meaning="The current is high, or stays up, with the controls at rest.",
    bench="disconnect the linkages of that node one at a time and watch its current.",
    words=Words(
        (
            "a servo that works against a stop or a stiff linkage",
            "a mixed trim that holds a surface out of neutral",
            "something else at {place} was switched on",
        ),
        "Disconnect the linkages of {place} one at a time and watch its current.",
        "Free the linkage or reset the end points before the next flight.",
        kinds=(CauseKind.BINDING, CauseKind.TRIM, CauseKind.CONSUMER),
    ),
    in_flight=(servo_findings, resting),
    needs=Needs(
        at=drawing,
        own=(Quantity.CURRENT,),
        phases=(PhaseKind.STIR,),
        counterpart=True,
        essential="logged",
    ),
    sees=_sees,
    proof="nodes",
)
