"""A regulator that does not hold its bus: in its limit, too hot, or with too little above it."""

from __future__ import annotations

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.draft import FindingDraft, Possible, Words, clock
from telemetry.checks.facts import FlightFacts
from telemetry.results import Droop, DroopKind, Level

# So many falls, or readings, are no accident of sampling; a bus that only follows its packs grounds
# where it lost this part of what it holds (heuristic).
_SEVERAL, _READINGS, _MUCH = 3, 6, 0.15
DROOP = Words(
    (
        "the regulator reached its current limit",
        "the regulator grew too hot and gave less",
        "its input came too near to its output",
        "a switch or lead between pack and bus",
    ),
    "Load the bus on the bench at that current with full, sound packs, and feel the regulator.",
    "See on the bench that the bus holds its voltage under that load before the next flight.",
    "Do not fly until the bus holds its voltage under that load.",
    kinds=(
        CauseKind.REGULATOR_LIMIT,
        CauseKind.REGULATOR_HOT,
        CauseKind.LOW_INPUT,
        CauseKind.SUPPLY_PATH,
    ),
)
DROP_OUT = Words(
    (
        "the regulator dropped out: the bus follows the packs",
        "a switch, plug or lead between pack and regulator takes part of the input",
    ),
    "Compare the set-point and the drop-out of its data sheet with the packs' voltage under load.",
    "Set it lower, or fit packs that stay further above it under load: what it holds is what they "
    "give less its drop-out.",
    "Do not fly until the packs stay above the set-point by the drop-out under that load.",
    kinds=(CauseKind.LOW_INPUT, CauseKind.SUPPLY_PATH),
)


def droops(facts: FlightFacts) -> list[FindingDraft]:
    """The held supply that fell while its packs held, or that followed them down."""
    return [_droop(d) for d in facts.flight.droops]


def _droop(d: Droop) -> FindingDraft:
    depth = d.held_v - d.lowest_v
    dropped_out = d.kind is DroopKind.DROP_OUT
    often = d.times >= _SEVERAL or d.readings >= _READINGS
    grave = often and (not dropped_out or depth >= _MUCH * d.held_v)
    how = {
        DroopKind.LIMIT: f"in its current limit of {d.current_a:.1f} A",
        DroopKind.HOT: f"too hot at {d.temperature_c or 0.0:.0f} degC",
        DroopKind.DROP_OUT: f"its packs at {d.pack_v:.2f} V too near to it",
        DroopKind.UNKNOWN: f"the packs at {d.pack_v:.2f} V",
    }[d.kind]
    return FindingDraft(
        code="regulator-droop",
        level=Level.GROUND if grave else Level.WATCH,
        place=d.place,
        title=f"{d.place} fell from {d.held_v:.2f} to {d.lowest_v:.2f} V, first at "
        f"{clock(d.start_s)}: {how}",
        evidence={
            "times": d.times,
            "deepest_v": depth,
            "lowest_v": d.lowest_v,
            "held_v": d.held_v,
            "pack_v": d.pack_v,
            "current_a": d.current_a,
            "temperature_c": d.temperature_c,
            "time_s": d.lowest_s,
            "kind": str(d.kind),
        },
        likelier=_likelier(d),
        words=DROP_OUT if dropped_out else DROOP,
        start_s=d.lowest_s,
        end_s=d.lowest_s,
    )


def _likelier(d: Droop) -> tuple[Possible, ...]:
    if d.kind is not DroopKind.LIMIT:
        return ()
    limit = f"the regulator is in its current limit: {d.current_a:.1f} A and no more"
    return (Possible(CauseKind.REGULATOR_LIMIT, limit),)
