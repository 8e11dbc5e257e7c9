"""Packs: what each gave. One that gave nothing, and an uneven share."""

from __future__ import annotations

from telemetry.aircraft import Aircraft
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import FITFUL, Check, CheckPart, Closing
from telemetry.checks.draft import FindingDraft, Possible, Words
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import Needs, Refusal, packs, told_already
from telemetry.checks.packs.across import judge_packs
from telemetry.checks.packs.low import low_packs, shared_packs
from telemetry.checks.packs.outs import judge_outs
from telemetry.checks.packs.paths import path_findings
from telemetry.checks.packs.silent import (
    NOTHING,
    SURE_S,
    lies_below,
    lost_in_flight,
    lost_packs,
    never_gave,
)
from telemetry.measure.away import HEAD_V
from telemetry.model.channels import Quantity
from telemetry.results import (
    Finding,
    Flight,
    Level,
    NotJudged,
    PackState,
)

# A share below this takes a path of four times the other's resistance; where the pack's voltage
# lies below the other's, which a bad path behind it cannot make, it is held off (heuristic).
_HELD = 0.2
# Load that takes less of the packs' voltage than this, %, shares itself by their charge
# (heuristic: a twentieth of their charge makes as much).
_LIGHT_PCT = 1.0
# Of each change of the load the path of twice the other's resistance takes a third (Kirchhoff),
# less than equal packs of one age do (heuristic); 95 % half widths by which it is surely less.
_THIRD, _HALF_WIDTHS = 1 / 3, 1.5


def pack_findings(facts: FlightFacts) -> list[FindingDraft]:
    """What the packs of one flight show, each cause reported once."""
    flight, aircraft = facts.flight, facts.aircraft
    lost = lost_packs(flight)
    out = {r.place for r in lost}
    low = low_packs(flight, aircraft)
    weak = {r.place for r in low}
    never = [] if out else never_gave(flight, aircraft, weak)
    silent = out | {r.place for r in never}
    share = [] if silent or weak else _share(flight, aircraft)
    return [*lost, *never, *low, *share, *path_findings(flight, aircraft)]


def _share(flight: Flight, aircraft: Aircraft) -> list[FindingDraft]:
    """An uneven share of a pair: watch where the paths differ, else charge or set-points do it."""
    pair = [s for s in shared_packs(flight) if s.share is not None]
    off = [s for s in pair if s.off_balance] or [s for s in pair if _yields(s)]
    if not off or len(shared_packs(flight)) != 2:
        return []
    state = min(off, key=lambda s: s.share or 0.0)
    band = aircraft.limits.share_points / 100
    share = state.share or 0.0
    low, high = state.low_change_share, state.high_change_share
    even = low is not None and high is not None and high >= 0.5 - band and low <= 0.5 + band
    other = next(s for s in shared_packs(flight) if s is not state)
    held = share < _HELD and lies_below(state, other)
    kind, cause = CauseKind.UNLIKE_CHARGE, ""
    if even:
        cause = "unequal charge: of a change of the load both take their part"
    elif low is None and _light(flight):
        cause = "unequal charge: at so light a load hundredths of a volt decide"
    elif low is None and _regulated(state, flight, aircraft):
        kind = CauseKind.SET_POINTS
        cause = "set-points a little apart: behind regulators they decide, and no path"
    elif held:
        cause = "unequal charge: it lies below the other and is held off most of the time"
    return [
        FindingDraft(
            code="pack-share",
            level=Level.CLEAR if cause else Level.WATCH,
            place=state.place,
            title=_of_load(state),
            evidence={
                "share": state.share,
                "low_share": state.low_share,
                "high_share": state.high_share,
                "change_share": state.change_share,
                "low_change_share": low,
                "high_change_share": high,
                "allowed_points": aircraft.limits.share_points,
            },
            likelier=(Possible(kind, cause),) if cause else (),
        )
    ]


def _yields(state: PackState) -> bool:
    """Whether it surely takes so little of a change that its path has far more resistance.

    What it gives on the whole may be its half all the same: its charge adds to that.
    """
    part, high = state.change_share, state.high_change_share
    return part is not None and high is not None and part + _HALF_WIDTHS * (high - part) < _THIRD


def _of_load(state: PackState) -> str:
    if state.off_balance:
        return f"{state.place} gave {100 * (state.share or 0.0):.0f} % of the current under load"
    part = state.change_share or 0.0
    return (
        f"{state.place} takes up {100 * part:.0f} % of each change of the load: its path has "
        f"{(1 - part) / max(part, 0.01):.1f} times the resistance of the other's"
    )


def _light(flight: Flight) -> bool:
    """Whether load took next to nothing of the voltage of the packs that share it."""
    shared = {s.place for s in shared_packs(flight)}
    taken = [d.drop_pct for d in flight.drops if d.place in shared]
    return bool(taken) and max(taken) < _LIGHT_PCT


def _regulated(state: PackState, flight: Flight, aircraft: Aircraft) -> bool:
    """Whether a regulator holds the bus: it does not follow its packs, or rests far below them."""
    packs = {p.name for p in aircraft.packs}
    # At rest no lead takes anything: what any place reads is the bus.
    fed = [c.start_v for c in flight.charge if c.place not in packs and c.start_v is not None]
    rests_v = (state.rest_v, state.landing_rest_v)
    far = bool(fed) and any(v is not None and v - max(fed) > HEAD_V for v in rests_v)
    told = any(r.regulated for r in flight.resistances)
    return aircraft.regulated_v is not None or told or far


def _lost_aloft(finding: Finding, flight: Flight) -> bool:
    """Whether a pack was lost in the air, or grounds after a flight."""
    grave = finding.level is Level.GROUND and flight.kind == "flight"
    return grave or finding.place in lost_in_flight(flight)


def _pair(facts: FlightFacts, place: str | None) -> PackState | Refusal:
    """The state of a pack that shares the load with another, or why it cannot be judged so."""
    state = next((s for s in facts.flight.packs if s.place == place), None)
    if state is not None and state.role == "standby":
        return Refusal(NotJudged.STANDBY, "it stands by, by the profile", "switch the other off")
    shared = [s.place for s in shared_packs(facts.flight)]
    others = [p for p in shared if p != place and facts.logs(Quantity.CURRENT, p)]
    if state is None or not others:
        why = "no other pack with a current shares its load"
        return Refusal(NotJudged.NO_COUNTERPART, why, "log the current of each pack")
    if state.share is None:
        why = "the packs gave too little current under load to tell their shares"
        return Refusal(NotJudged.CALM, why, "stir harder, or fly as usual")
    return state


def _sees_out(facts: FlightFacts, place: str | None) -> str | Refusal:
    state = _pair(facts, place)
    if isinstance(state, Refusal):
        return state
    if state.high_share is not None and state.high_share < NOTHING:
        why = "it gave nothing from first to last, and whether it stands by is not told"
        what = 'say role = "standby" in the profile, or switch the other off on the ground'
        return Refusal(NotJudged.NO_ROLE, why, what)
    return f"less than {100 * NOTHING:.0f} % of the current under load for {SURE_S:.0f} s"


def _sees_share(facts: FlightFacts, place: str | None) -> str | Refusal:
    state = _pair(facts, place)
    if isinstance(state, Refusal):
        return state
    if state.off_balance:
        return told_already("a finding on one of the packs")
    points, share = facts.limits.share_points, state.share or 0.0
    doubt = 100 * (share - (state.low_share if state.low_share is not None else share))
    return f"{50 - points - doubt:.0f} % of the current or less"


def _sees_low(facts: FlightFacts, place: str | None) -> str | Refusal:
    state = next((s for s in facts.flight.packs if s.place == place), None)
    if state is not None and state.rest_v is not None and state.rest_floor_v is not None:
        return f"{state.rest_floor_v:.2f} V or less at rest"
    if state is not None and state.landing_pct is not None:
        return f"less than {facts.limits.reserve_pct:.0f} % left at landing"
    why = "no voltage at rest, or its chemistry and cells are not known"
    what = "log it at rest for some seconds; say chemistry and cells in the profile"
    return Refusal(NotJudged.NO_LEVEL, why, what, ("--chemistry CHEMISTRY", "--cells N"))


PACK_OUT = Check(
    code="pack-out",
    part=CheckPart.PACKS,
    closing=Closing(flights=FITFUL, note_only=_lost_aloft, across_note_only=True, lost=True),
    question="Did a pack that shares the load give no current?",
    meaning="A pack gave no current for a while.",
    bench="switch the other pack off on the ground: does the bus stay up?",
    words=Words(
        (
            "{place} itself, its plug, switch or lead opened",
            "the protection of {place} switched it off",
            "its current sensor failed",
        ),
        "Switch the other pack off on the ground and see whether the bus stays up.",
        "Find out why it gave nothing before both packs are relied upon.",
        "Do not fly on one pack: find why the other gave nothing.",
        kinds=(
            CauseKind.CONTACT,
            CauseKind.CUT_OFF,
            CauseKind.CURRENT_SENSOR,
        ),
    ),
    words_across=Words(
        (
            "{place} itself, its plug, switch or lead opened",
            "its protection switched it off",
            "its current sensor failed",
        ),
        "Switch the other pack off on the ground and see whether the bus stays up.",
        "Find why it gave nothing before both packs are relied upon; note what was done.",
        "Do not fly on one pack: find why the other gave nothing, and note what was done.",
        kinds=(CauseKind.CONTACT, CauseKind.CUT_OFF, CauseKind.CURRENT_SENSOR),
    ),
    in_flight=(pack_findings,),
    needs=Needs(at=packs, own=(Quantity.CURRENT,), essential="logged"),
    sees=_sees_out,
    across=(judge_outs,),
    proof="packs",
    worst_by="out_s",
)

PACK_SHARE = Check(
    code="pack-share",
    part=CheckPart.PACKS,
    rise_step=lambda limits: limits.share_points,
    question="Do the packs share the load unevenly, or otherwise than before?",
    meaning="The packs share the load unequally: unequal packs, or resistance in the path of one.",
    bench="compare rest voltages; swap the packs and stir again.",
    words=Words(
        (
            "unequal charge of the two packs",
            "unequal age or temperature of the two packs",
            "resistance in one pack's plug, switch or lead",
            "two regulators with set-points a little apart",
        ),
        "Compare rest voltages before the flight; swap the packs and repeat the stir.",
        "Compare the shares again with both packs full and sound.",
        kinds=(
            CauseKind.UNLIKE_CHARGE,
            CauseKind.COLD_OR_AGED,
            CauseKind.PACK_PATH,
            CauseKind.SET_POINTS,
        ),
    ),
    words_across=Words(
        (
            "unequal charge of the packs",
            "unequal age or temperature of the packs",
            "resistance in one pack's plug, switch or lead",
            "a regulator whose set-point moved",
        ),
        "With both packs full and sound compare rest voltages, then stir and compare the shares.",
        "Find out which path changed before both packs are relied upon.",
        kinds=(
            CauseKind.UNLIKE_CHARGE,
            CauseKind.COLD_OR_AGED,
            CauseKind.PACK_PATH,
            CauseKind.SET_POINTS,
        ),
    ),
    in_flight=(pack_findings,),
    needs=Needs(at=packs, own=(Quantity.CURRENT,), essential="logged"),
    sees=_sees_share,
    across=(judge_packs,),
    proof="packs",
)

PACK_LOW = Check(
    code="pack-low",
    part=CheckPart.PACKS,
    question="Was a pack not charged, or is too little left at landing?",
    meaning="A pack was not charged, or was flown too often on one charge. **A lithium pack that "
    "rests below its floor is not to be charged.**",
    bench="read the voltage of each cell at rest.",
    words=Words(
        ("the pack was not charged", "more flights were flown on it than it holds"),
        "Read the voltage of each cell at rest; if it may be charged, note how much goes in.",
        "Fly it next when it is full; a pack with a lithium cell that rests below its floor is "
        "not to be charged.",
        kinds=(CauseKind.NOT_CHARGED, CauseKind.RAN_EMPTY),
    ),
    in_flight=(pack_findings,),
    needs=Needs(at=packs, phases=()),
    sees=_sees_low,
    proof="packs",
    worst_by="landing_pct",
    worst_step=10.0,
    lower_is_worse=True,
)
