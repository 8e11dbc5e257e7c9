"""The resistance of the packs: one's against the other's, and what load takes of their voltage."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import FindingDraft, Possible, Words
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import Needs, Refusal, packs, root, without_resistance
from telemetry.measure.charge_state import guess_pack
from telemetry.model.channels import Quantity
from telemetry.results import Level, LoadDrop, NotJudged

# One pack above the other by this factor, and surely by that one: sound packs of one make and age
# differ by a tenth or two, their leads by more (common practice, no source).
_TIMES, _SURE = 1.5, 1.25
# ... and by more than their leads and plugs differ, mOhm (heuristic).
_MORE_MOHM = 10.0
# ... which the currents of the log show by so much, V: cells of two packs come to rest by one or
# two hundredths of a volt apart, whatever their resistance (heuristic); a step of the sensors hides
# as much as it is.
_MORE_V = 0.025
#: Part of the voltage that load takes, %: packs that lose so much are weak for this load
#: (heuristic: a sound lithium pack under a heavy load loses a tenth, a cold one an eighth). The
#: middle one where a mild temperature was logged, which takes the cold away.
LOST_WATCH_PCT, LOST_MILD_PCT, LOST_GROUND_PCT = 16.0, 15.0, 30.0
#: The same where it may be nickel, and of a bus, whose way from the packs takes its part
#: (heuristic); nickel packs of a radio have so many cells (common practice, no source).
LOST_NICKEL_PCT, _NICKEL_CELLS = 20.0, (4, 5)
#: Below the first the cold is the likelier cause, above the second it is not one, degC (heuristic).
COLD_C, MILD_C = 10.0, 18.0

WEAK = Words(
    (
        "they are too small for this load, or were nearly empty",
        "resistance in plugs or switches of all packs alike",
    ),
    "Measure the resistance of each cell warm and at a known charge; read each cell at rest.",
    "Repeat the stir with warm packs that are full, before hard flying; one that reads the same "
    "then has aged. One with a lithium cell that rests below its floor is not to be charged.",
    "Do not fly with these packs under such a load. Read each cell at rest; one with a lithium "
    "cell below its floor is not to be charged. Replace packs that read the same when warm.",
    kinds=(CauseKind.TOO_SMALL, CauseKind.PACK_PATH),
)


def sources(facts: FlightFacts) -> list[FindingDraft]:
    """One pack whose resistance lies above the other's; else packs that are weak together."""
    weak = [d for d in facts.flight.drops if _level(d) is not Level.CLEAR]
    one = _against_the_other(facts)
    told = {f.place for f in one}
    left = [d for d in weak if d.place not in told]
    return [*one, *([_weak(left)] if left else [])]


def _level(drop: LoadDrop) -> Level:
    if drop.low_drop_pct >= LOST_GROUND_PCT:
        return Level.GROUND
    limited = drop.sound_mohm is not None and drop.low_mohm > drop.sound_mohm
    return Level.WATCH if limited or drop.low_drop_pct >= _lost_pct(drop) else Level.CLEAR


def _lost_pct(drop: LoadDrop) -> float:
    if not drop.of_a_pack or _may_be_nickel(drop):
        return LOST_NICKEL_PCT
    mild = drop.temperature_c is not None and drop.temperature_c >= MILD_C
    return LOST_MILD_PCT if mild else LOST_WATCH_PCT


def _may_be_nickel(drop: LoadDrop) -> bool:
    if drop.chemistry is not None:
        return drop.chemistry == "nimh"
    fits = guess_pack(drop.rest_v).candidates
    return any(kind == "nimh" and cells in _NICKEL_CELLS for kind, cells in fits)


def _weak(drops: Sequence[LoadDrop]) -> FindingDraft:
    """Packs that are weak or cold together, told once."""
    worst = max(drops, key=lambda d: d.drop_pct)
    names = " and ".join(d.place for d in drops)
    mohms = " and ".join(f"{d.mohm:.0f}" for d in drops)
    title = f"{names}: {mohms} mOhm, {worst.drop_pct:.0f} % of the voltage lost at "
    title += f"{worst.high_a:.1f} A"
    if worst.sound_mohm is not None and worst.low_mohm > worst.sound_mohm:
        title += f"; a sound pack of its kind has {worst.sound_mohm:.0f} mOhm at most"
    return FindingDraft(
        code="source-resistance-high",
        level=max(_level(d) for d in drops),
        place=worst.place,
        also=tuple(d.place for d in drops if d is not worst),
        title=title,
        evidence={
            "mohm": worst.mohm,
            "low_mohm": worst.low_mohm,
            "high_mohm": worst.high_mohm,
            "sound_mohm": worst.sound_mohm,
            "by_profile": worst.by_profile,
            "high_a": worst.high_a,
            "rest_v": worst.rest_v,
            "drop_pct": worst.drop_pct,
            "low_drop_pct": worst.low_drop_pct,
            "temperature_c": worst.temperature_c,
        },
        likelier=_aged_or_cold(worst.temperature_c),
        words=WEAK,
    )


def _aged_or_cold(celsius: float | None) -> tuple[Possible, ...]:
    """Age and cold, apart where a temperature tells them so: they look alike on one day."""
    if celsius is None or COLD_C <= celsius < MILD_C:
        why = "no temperature was logged to tell these apart"
        why = why if celsius is None else f"{celsius:.0f} degC leaves both open"
        return (Possible(CauseKind.COLD_OR_AGED, f"they have aged, or they are cold: {why}"),)
    return (
        Possible(CauseKind.AGED, "they have aged: then they read the same when warm"),
        Possible(CauseKind.COLD, "they are cold"),
    )


def _against_the_other(facts: FlightFacts) -> list[FindingDraft]:
    """Of packs that share the load: one whose resistance lies clearly above the other's."""
    out = []
    for t in facts.flight.twins:
        more_mohm = t.mohm - t.compared_mohm
        sure = t.low_times >= _SURE and t.times >= _TIMES
        seen = t.more_v is None or t.more_v >= max(_MORE_V, t.step_v)
        if not sure or more_mohm < _MORE_MOHM or not seen:
            continue
        drop = next((d for d in facts.flight.drops if d.place == t.place), None)
        out.append(
            FindingDraft(
                code="source-resistance-high",
                level=Level.WATCH if drop is None else max(Level.WATCH, _level(drop)),
                place=t.place,
                title=f"{t.place}: {t.times:.1f} times the resistance of {t.compared_with}, "
                f"{more_mohm:.0f} mOhm more",
                evidence={
                    "resistance_ratio": t.times,
                    "low_resistance_ratio": t.low_times,
                    "high_resistance_ratio": t.high_times,
                    "more_mohm": more_mohm,
                    "mohm": None if drop is None else drop.mohm,
                    "compared_with": t.compared_with,
                    "drop_pct": None if drop is None else drop.drop_pct,
                    "temperature_c": None if drop is None else drop.temperature_c,
                },
            )
        )
    return out


def _asked(facts: FlightFacts) -> Iterator[str]:
    """The packs; what they feed where no pack's voltage is logged."""
    logged = [p for p in packs(facts) if facts.logs(Quantity.VOLTAGE, p)]
    yield from logged or root(facts)


def _sees(facts: FlightFacts, place: str | None) -> str | Refusal:
    drop = next((d for d in facts.flight.drops if d.place == place), None)
    if drop is not None:
        least = _lost_pct(drop) + drop.drop_pct - drop.low_drop_pct
        lost = f"{least:.0f} % or more of its voltage lost under load"
        twins = next((t for t in facts.flight.twins if place in (t.place, t.compared_with)), None)
        if twins is not None:
            other = twins.compared_with if place == twins.place else twins.place
            times = max(_TIMES, _SURE * twins.times / twins.low_times)
            lost += f", {times:.1f} times the resistance of {other}"
        if drop.sound_mohm is None:
            return lost
        return f"{lost}, {drop.sound_mohm + drop.mohm - drop.low_mohm:.0f} mOhm or more"
    own = next((r for r in facts.flight.resistances if r.place == place), None)
    if own is None or own.mohm is None:
        return without_resistance(facts, own, place or "")
    why = "too few readings under load to tell what it loses"
    return Refusal(NotJudged.CALM, why, "stir harder, or fly as usual")


SOURCE_RESISTANCE_HIGH = Check(
    code="source-resistance-high",
    part=CheckPart.PACKS,
    question="Does load take too much of the packs' voltage, or of one's more than the other's?",
    meaning="A pack, or all of them, has aged or is cold, or its path adds resistance: against the "
    "other pack, against what a sound one of its chemistry and capacity or of the profile's "
    "resistance has at most, or by the part of its voltage that load takes.",
    bench="swap the packs: does the resistance move with the pack?",
    words=Words(
        (
            "{place} has aged or is colder than the other",
            "resistance in the plug, switch or lead of {place}",
        ),
        "Swap the packs: if the value moves with the pack it is the pack, else its path.",
        "Measure the pack's internal resistance warm, at a known charge.",
        kinds=(
            CauseKind.COLD_OR_AGED,
            CauseKind.PACK_PATH,
        ),
    ),
    in_flight=(sources,),
    needs=Needs(at=_asked, own=(Quantity.VOLTAGE,), any_current=True),
    sees=_sees,
    proof="scatter",
    worst_by="mohm",
    worst_step=8.0,
    same_matter=("source-resistance-rising",),
)
