"""Packs that were low: against the other of a pair, by their cells, by the reserve at landing."""

from __future__ import annotations

from collections.abc import Iterable

from telemetry.aircraft import CELL_V, Aircraft, Pack
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.draft import FindingDraft, Possible, Words, clock
from telemetry.checks.packs.paths import WAITS
from telemetry.measure.charge_state import guess_pack
from telemetry.results import ChargeBasis, Flight, Level, PackState

# Rest voltages of a pair: further apart than this is no scatter of sensors and charging (heuristic:
# a tenth to a third of the charge of most lithium cells).
_APART_PCT = 3.5
# Packs that gave at least this part of the current each gave alike (heuristic).
_GAVE = 0.35
# One that still waits after the other has given so much more than it began with less by so much,
# mAh (heuristic: a few hundredths of a usual pack).
_LESS_MAH = 150.0
# Resistance over the other's above which that is why it gives little (heuristic).
_WEAKER = 1.25
# A cell of lithium iron phosphate just off the charger reads up to a tenth more than one that has
# rested (common practice, no source); above this it is not low.
_LIFE_REST_V = 3.25

# A lithium pack that rests below its floor: a low pack that may not be filled again.
RUN_DOWN = Words(
    (
        "more was drawn than it holds, or a load was left on it",
        "a cell that failed pulled the others down with it",
        "its voltage is read too low",
    ),
    "Measure each of its cells with a meter, the pack unplugged and at rest.",
    "Do not charge it. Set it aside where a fire can do no harm, and have it judged by someone who "
    "knows such cells.",
    "Do not charge it and do not fly with it. Set it aside where a fire can do no harm; retire it, "
    "or have it judged by someone who knows such cells.",
    kinds=(CauseKind.RAN_EMPTY, CauseKind.FAILED_CELL, CauseKind.FALSE_READING),
)
# A pack whose voltage fell ever faster.
EMPTIED = Words(
    (
        "it was empty: flown too long, or too often on one charge",
        "it has lost capacity, or one of its cells has",
        "it was not charged in full",
    ),
    "Let it rest, unplugged, and read the voltage of each cell; note how much goes in when it may "
    "be charged.",
    "Read each cell at rest before the next flight. One with a lithium cell that rests below its "
    "floor is not to be charged; charge the others in full and fly less on a charge.",
    "Do not fly with it before each cell was read at rest. One with a lithium cell that rests "
    "below its floor is not to be charged, but set aside where a fire can do no harm.",
    kinds=(CauseKind.RAN_EMPTY, CauseKind.LOST_CAPACITY, CauseKind.NOT_CHARGED),
)
# A knee that takes this part of the voltage grounds (heuristic: the last minute of a charge).
_EMPTY_PART = 0.10
# Two packs on one bus without a diode between them, of unlike charge.
CROSS_CHARGED = Words(
    (
        "the packs were joined with unlike charge, and nothing between them stops the current",
        "a cell of it failed, so that the other pack feeds it",
        "its current sensor reads too low: then it does so under load by as much",
    ),
    "Unplug both packs, let them rest for ten minutes, and read the voltage of each cell.",
    "Join packs only at like voltages, and unplug them from one another after use. Nothing limits "
    "or watches such a charge, and a lithium pack can burn: leave no joined packs alone, and do "
    "not charge one with a cell that rests below its floor.",
    "Do not fly with these packs joined. Unplug them from one another and stay with them until "
    "they are cool: nothing limits or watches such a charge, and a lithium pack can burn. Read "
    "every cell; one with a cell that rests below its floor is not to be charged.",
    kinds=(CauseKind.UNLIKE_CHARGE, CauseKind.FAILED_CELL, CauseKind.CURRENT_SENSOR),
)
# A pack takes this current, A, where its capacity is not known, else its capacity in one hour, at
# the most (common practice, no source; of a usual pack of 3 Ah).
_MOST_A = 3.0


def shared_packs(flight: Flight) -> list[PackState]:
    """The packs that are to share the load."""
    return [s for s in flight.packs if s.role == "shared"]


def low_packs(flight: Flight, aircraft: Aircraft) -> list[FindingDraft]:
    """Packs that were low: run down, against the other, by their cells, by the reserve."""
    apart = _apart(flight, aircraft)
    states = {s.place for s in flight.packs}
    out = [d for k in flight.knees if k.place not in states and (d := _emptied(k.place, flight))]
    for state in flight.packs:
        pack = aircraft.pack(state.place)
        reasons = [
            r
            for r in (
                _run_down(state),
                _cross_charged(state, pack, flight),
                _emptied(state.place, flight),
                apart.get(state.place) or _waits(state, flight),
                None if pack is None else _by_cells(state, pack),
                None if pack is None else _by_reserve(state, aircraft.limits.reserve_pct),
            )
            if r is not None
        ]
        if reasons:
            first, *rest = reasons
            evidence = dict(first.evidence)
            for r in rest:
                evidence |= {k: v for k, v in r.evidence.items() if k not in evidence}
            out.append(
                FindingDraft(
                    code="pack-low",
                    level=max((r.level for r in reasons), key=lambda x: x.rank),
                    place=state.place,
                    title=first.title,
                    evidence={**evidence, "counter_start_mah": state.counter_start_mah},
                    likelier=_each(x for r in reasons for x in r.likelier),
                    further=_each(x for r in reasons for x in r.further),
                    words=first.words,
                    start_s=first.start_s,
                    end_s=first.end_s,
                )
            )
    return out


def _each(possible: Iterable[Possible]) -> tuple[Possible, ...]:
    """Each kind once."""
    return tuple({p.kind: p for p in possible}.values())


def _run_down(state: PackState) -> FindingDraft | None:
    """A lithium pack that rested below its floor: ground where its cells are damaged."""
    low, floor, damage = state.lowest_rest_v, state.rest_floor_v, state.damage_v
    if low is None or floor is None or damage is None or not state.run_down:
        return None
    when = "began" if low == state.rest_v else "ended"
    if state.cells is None:
        what = f"at {low:.2f} V at rest; a lithium pack of its voltage has its floor at"
        title = f"{state.place} {when} {what} {floor:.2f} V or above"
        other = "it is no lithium pack, which the profile does not say"
        also: tuple[Possible, ...] = (Possible(CauseKind.OTHER_CELLS, other),)
    else:
        what = f"at {low / state.cells:.2f} V a cell at rest, below its floor of"
        title = f"{state.place} {when} {what} {floor / state.cells:.2f} V"
        also = ()
    return FindingDraft(
        code="pack-low",
        level=Level.GROUND if low < damage else Level.WATCH,
        place=state.place,
        title=title,
        evidence={
            "rest_v": state.rest_v,
            "landing_rest_v": state.landing_rest_v,
            "cell_v": None if state.cells is None else low / state.cells,
            "rest_floor_v": floor,
            "damage_v": damage,
        },
        further=also,
        words=RUN_DOWN,
    )


def _emptied(place: str, flight: Flight) -> FindingDraft | None:
    """A pack run to the end of its charge: ground where deep, or below its floor without load."""
    knee = next((k for k in flight.knees if k.place == place), None)
    if knee is None:
        return None
    floor_v = _floor_v(place, flight)
    below = floor_v is not None and knee.end_v < floor_v
    deep = knee.depth_v >= _EMPTY_PART * knee.before_v
    return FindingDraft(
        code="pack-low",
        level=Level.GROUND if deep or below else Level.WATCH,
        place=place,
        title=f"{place} fell ever faster from {clock(knee.start_s)} on, from {knee.before_v:.2f} "
        f"to {knee.end_v:.2f} V: it was empty",
        evidence={
            "time_s": knee.start_s,
            "before_v": knee.before_v,
            "end_v": knee.end_v,
            "depth_v": knee.depth_v,
            "level_v": floor_v,
        },
        words=EMPTIED,
        start_s=knee.start_s,
        end_s=knee.end_s,
    )


def _floor_v(place: str, flight: Flight) -> float | None:
    """Below it a pack is empty under load, V; None where its chemistry or cells are not known."""
    return next((x.level_v for x in flight.levels if x.is_floor and x.place == place), None)


def _cross_charged(state: PackState, pack: Pack | None, flight: Flight) -> FindingDraft | None:
    """A pack that another one charged: ground where with more than packs are charged with."""
    if state.charged_a is None:
        return None
    capacity_mah = None if pack is None else pack.capacity_mah
    most_a = _MOST_A if capacity_mah is None else capacity_mah / 1000.0
    others = [s.place for s in flight.packs if s.place != state.place]
    giver = others[0] if len(others) == 1 else "the other packs"
    return FindingDraft(
        code="pack-low",
        level=Level.GROUND if state.charged_a >= most_a else Level.WATCH,
        place=state.place,
        title=f"{state.place} was charged by {giver} with {state.charged_a:.1f} A: they were of "
        "unlike charge",
        evidence={
            "charged_a": state.charged_a,
            "charged_s": state.charged_s,
            "charged_mah": state.charged_mah,
            "most_a": most_a,
            "rest_v": state.rest_v,
        },
        words=CROSS_CHARGED,
    )


def _apart(flight: Flight, aircraft: Aircraft) -> dict[str, FindingDraft]:
    """The lower of a shared pair whose voltages at rest lie clearly apart."""
    pair = shared_packs(flight)
    began = all(s.rest_v is not None for s in pair)
    rests = {s.place: s.rest_v if began else s.landing_rest_v for s in pair}
    # After landing it tells as much where both gave alike.
    alike = began or all(s.share is not None and s.share >= _GAVE for s in pair)
    if len(pair) != 2 or not alike or None in rests.values():
        return {}
    low, high = sorted(pair, key=lambda s: rests[s.place] or 0.0)
    low_rest_v, high_rest_v = rests[low.place] or 0.0, rests[high.place] or 0.0
    packs = [aircraft.pack(s.place) for s in (low, high)]
    per_cell = [None if p is None or p.cells is None else p.cells for p in packs]
    kinds = [None if p is None else p.chemistry for p in packs]
    if None not in kinds and kinds[0] != kinds[1]:
        return {}
    cells = (per_cell[0] or 1, per_cell[1] or 1) if None not in per_cell else (1, 1)
    low_v, high_v = low_rest_v / cells[0], high_rest_v / cells[1]
    if low_v > high_v:
        return {}
    gap_pct = 100 * (high_v - low_v) / high_v
    if gap_pct <= _APART_PCT or _rested_life(low_rest_v, high_rest_v, packs[0]):
        return {}
    unlike = Possible(CauseKind.UNLIKE_PACKS, "the two packs are of different kinds by design")
    # What keeps it from giving keeps it from being charged as well.
    waits = low.share is not None and low.share < WAITS
    held = "; it gives nothing until the other has come down to it" if waits else ""
    return {
        low.place: FindingDraft(
            code="pack-low",
            level=Level.WATCH,
            place=low.place,
            title=f"{low.place} {'began' if began else 'ended'} at {low_rest_v:.2f} V at rest, "
            f"{high.place} at {high_rest_v:.2f} V{held}",
            evidence={
                "rest_v": low_rest_v,
                "other_rest_v": high_rest_v,
                "gap_pct": gap_pct,
                "share": low.share,
            },
            further=(unlike,) if None in kinds else (),
        )
    }


def _waits(state: PackState, flight: Flight) -> FindingDraft | None:
    """A pack that a diode held off until the end, whatever its voltage at rest says.

    The voltage of some cells hardly tells their charge. Where no regulator holds the bus, packs
    charged alike come to the same voltage once one of them has given a little more.
    """
    others = [s for s in shared_packs(flight) if s is not state]
    held = any(r.regulated is False for r in flight.resistances)
    if state.role != "shared" or len(others) != 1 or not held or state.share is None:
        return None
    other, own_mah = others[0], state.drawn_mah
    if None in (own_mah, other.drawn_mah, state.loaded_v, other.loaded_v):
        return None
    more_mah = (other.drawn_mah or 0.0) - (own_mah or 0.0)
    below = (state.loaded_v or 0.0) <= (other.loaded_v or 0.0)
    if state.rest_v is not None and other.rest_v is not None:
        below = below and state.rest_v < other.rest_v
    if not below or state.share >= WAITS or more_mah < _LESS_MAH:
        return None
    if any(t.place == state.place and t.low_times > _WEAKER for t in flight.twins):
        return None  # its own resistance keeps it from giving
    return FindingDraft(
        code="pack-low",
        level=Level.WATCH,
        place=state.place,
        title=f"{state.place} gave {100 * state.share:.0f} % of the current: it lay below "
        f"{other.place}, also after that had given {more_mah:.0f} mAh more",
        evidence={
            "share": state.share,
            "more_mah": more_mah,
            "rest_v": state.rest_v,
            "loaded_v": state.loaded_v,
            "other_loaded_v": other.loaded_v,
        },
        likelier=(Possible(CauseKind.UNLIKE_CHARGE, "it had less charge than the other"),),
    )


def _rested_life(low_v: float, high_v: float, pack: Pack | None) -> bool:
    """Whether both may be lithium iron phosphate, the higher one just off the charger."""
    if pack is not None and pack.chemistry is not None:
        counts = [pack.cells or 0] if pack.chemistry == "life" else []
    else:
        both = [set(guess_pack(v).candidates) for v in (low_v, high_v)]
        counts = [n for kind, n in both[0] & both[1] if kind == "life"]
    return any(n and low_v / n >= _LIFE_REST_V for n in counts)


def _by_cells(state: PackState, pack: Pack) -> FindingDraft | None:
    """Rest voltage per cell at or below nominal: the larger part of the charge is gone."""
    if state.rest_v is None or pack.chemistry is None or pack.cells is None:
        return None
    cell_v, nominal_v = state.rest_v / pack.cells, CELL_V[pack.chemistry][1]
    if cell_v > nominal_v:
        return None
    return FindingDraft(
        code="pack-low",
        level=Level.WATCH,
        place=state.place,
        title=f"{state.place} began at {cell_v:.2f} V a cell at rest; nominal is {nominal_v:.2f} V",
        evidence={"rest_v": state.rest_v, "cell_v": cell_v, "nominal_v": nominal_v},
    )


def _by_reserve(state: PackState, reserve_pct: float) -> FindingDraft | None:
    """Less than the reserve left at landing.

    A rest voltage tells the charge roughly: then all of its interval must lie below. A pack taken
    as full had no more than that.
    """
    left = state.high_landing_pct if state.basis == ChargeBasis.REST_VOLTAGE else state.landing_pct
    if left is None or state.landing_pct is None or left >= reserve_pct:
        return None
    basis = {
        ChargeBasis.RECORDS: "by the records",
        ChargeBasis.FULL: "even if it was full before",
    }
    return FindingDraft(
        code="pack-low",
        level=Level.WATCH,
        place=state.place,
        title=f"{state.place} landed with {state.landing_pct:.0f} % of its capacity "
        f"{basis.get(state.basis, 'by its voltage at rest')}; the reserve is {reserve_pct:.0f} %",
        evidence={
            "landing_pct": state.landing_pct,
            "low_landing_pct": state.low_landing_pct,
            "high_landing_pct": state.high_landing_pct,
            "reserve_pct": reserve_pct,
            "drawn_mah": state.drawn_mah,
        },
    )
