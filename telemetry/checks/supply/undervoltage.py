"""Supply too low under load: how deep, and for how long of the time under load."""

from __future__ import annotations

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import FITFUL, Check, CheckPart, Closing
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import Needs, Refusal, long_enough, supplies
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.results import Level, LowSupply, NotJudged

# A low supply grounds where it was deep for as long as a fall takes to count as a level, where it
# was twice as deep for a move of the sticks, or where it lay plainly below its level for a minute
# and this part of the time under load (heuristic).
_LONG_S, _MOVE_S = 10.0, 2.0
_MINUTE_S, _PART = 60.0, 0.25
# Fewer deep readings than this may be chance (heuristic).
_SEVERAL = 3
# A pack below its floor under load: a low supply of its own kind.
PACK_UNDER = Words(
    (
        "it was flown nearly empty, or was not full at the start",
        "its cells are cold, aged or too small for this load",
        "its chemistry or cells are not those the review took",
    ),
    "Let it rest, unplugged, and read the voltage of each cell.",
    "Read its cells before the next flight; one with a lithium cell that rests below its floor is "
    "not to be charged.",
    "Do not fly with this pack. Let it rest and read each cell: one with a lithium cell that rests "
    "below its floor is not to be charged, but set aside where a fire can do no harm.",
    kinds=(
        CauseKind.RAN_EMPTY,
        CauseKind.COLD_OR_AGED,
        CauseKind.OTHER_CELLS,
    ),
)


def undervoltage(facts: FlightFacts) -> list[FindingDraft]:
    """Supply too low under load: one finding of the worst place, and one of each pack."""
    supply = [x for x in facts.flight.low if not x.is_floor]
    drafts = [_low(max(supply, key=_how_low), supply)] if supply else []
    return drafts + [_low(x, [x]) for x in facts.flight.low if x.is_floor]


def _how_low(x: LowSupply) -> tuple[Level, float]:
    return _low_level(x), x.level_v - x.lowest_v


def _low_level(x: LowSupply) -> Level:
    """The deeper, the sooner it grounds; a few readings ground nobody."""
    deep = x.deep_s >= _LONG_S and x.deep_readings >= _SEVERAL
    deepest = x.deepest_s >= _MOVE_S and x.deepest_readings >= _SEVERAL
    long = x.short_s >= max(_MINUTE_S, _PART * x.loaded_s)
    return Level.GROUND if deep or deepest or long else Level.WATCH


def _low(x: LowSupply, places: list[LowSupply]) -> FindingDraft:
    than = f"{x.level_v:.2f} V of its floor" if x.is_floor else f"comfortable {x.level_v:.1f} V"
    long = f"for {_seconds(x.below_s)} of {_seconds(x.loaded_s)}" if x.below_s else "for moments"
    return FindingDraft(
        code="undervoltage",
        level=_low_level(x),
        place=x.place,
        title=f"{x.place}: {x.lowest_v:.2f} V under load, below the {than} {long}",
        evidence={
            "lowest_v": x.lowest_v,
            "level_v": x.level_v,
            "time_s": x.lowest_s,
            "below_s": x.below_s,
            "loaded_s": x.loaded_s,
            "times": x.times,
            "longest_s": x.longest_s,
            "short_v": x.short_v,
            **({"deep_v": x.deep_v, "deep_s": x.deep_s} if x.deep_readings else {}),
            "places": ", ".join(p.place for p in places),
        },
        words=PACK_UNDER if x.is_floor else None,
        also=tuple(p.place for p in places if p is not x),
        start_s=x.lowest_s,
        end_s=x.lowest_s,
    )


def _seconds(s: float) -> str:
    return f"{s:.1f} s" if s < 10.0 else f"{s:.0f} s"


def _sees(facts: FlightFacts, place: str | None) -> str | Refusal:
    level = next((x for x in facts.flight.levels if x.place == place), None)
    if level is None:
        pack = facts.aircraft.kind(place or "") is PlaceKind.PACK
        what = "its chemistry and cells" if pack else "the lowest supply of its servos"
        said = f"say {what} in the aircraft's profile"
        keys: tuple[str, ...] = ("--chemistry CHEMISTRY", "--cells N") if pack else ()
        if facts.aircraft.node(place or "") is not None:
            keys = ("--comfort V",)
        return Refusal(NotJudged.NO_LEVEL, f"{what} are not known", said, keys)
    return f"less than {level.level_v:.2f} V under load{long_enough(facts, place)}"


UNDERVOLTAGE = Check(
    code="undervoltage",
    part=CheckPart.SUPPLY,
    closing=Closing(flights=FITFUL),
    question="Does the supply, or a pack, fall below its level under load?",
    meaning="Under load the voltage was below the comfortable supply, or that of a pack below its "
    "floor. The finding says how deep, and for how long of the time under load. A supply that lies "
    "deep for ten seconds and comes back counts without load too.",
    bench="compare with the data sheets of the servos; read each cell at rest.",
    words=Words(
        (
            "packs that are weak, cold or near their end",
            "resistance in the path, or a regulator set low or in its limit",
            "servos that are made for less than the level in force",
        ),
        "Compare with the data sheet of the servos; repeat the stir with full, sound packs.",
        "Find out what pulls it down, the packs, the path or the load, before hard flying.",
        "Do not fly until the supply stays above that level under load.",
        kinds=(
            CauseKind.WEAK_PACKS,
            CauseKind.SUPPLY_PATH,
            CauseKind.LEVEL_IN_FORCE,
        ),
    ),
    in_flight=(undervoltage,),
    needs=Needs(at=supplies, own=(Quantity.VOLTAGE,), essential="always"),
    sees=_sees,
    worst_by="lowest_v",
    worst_step=0.2,
    lower_is_worse=True,
)
