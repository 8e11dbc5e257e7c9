"""Packs: one that gave nothing, one that was low, an uneven share, a path unlike the other's."""

from __future__ import annotations

from telemetry.aircraft import CELL_V, Aircraft, Pack
from telemetry.power.charge_state import guess_pack
from telemetry.results import (
    Flight,
    Level,
    OutKind,
    OutSign,
    PackOut,
    PackState,
    PhaseKind,
    Resistance,
)
from telemetry.rules.raised import Raised

# Under this share of the current a pack gives nothing (ours: three sensor gains of 1 to 2 %).
_NOTHING = 0.05
# An outage shorter than this and seen once may be two readings that failed; where no voltage
# confirms it, one shorter than that, or of a pack that gave little before (ours).
_SURE_S = 3.0
_LONG_S, _MUCH = 20.0, 0.3
# A share below this takes a path of four times the other's resistance; where the pack's voltage
# lies below the other's, which a bad path behind it cannot make, it is held off (ours).
_HELD = 0.2
# Two voltage sensors may differ by this much (ours: half a percent of 8 V).
_SENSORS_V = 0.04
# Rest voltages of a pair: further apart than this is no scatter of sensors and charging (ours: a
# tenth to a third of the charge of most lithium cells).
_APART_PCT = 3.5
# A cell of lithium iron phosphate just off the charger reads up to a tenth more than one that has
# rested (common practice, no source); above this it is not low.
_LIFE_REST_V = 3.25
# Paths of a pair from pack to bus: one above the other by this factor and by this much (ours).
_PATH_FACTOR, _PATH_MOHM = 1.5, 8.0


def pack_findings(flight: Flight, aircraft: Aircraft) -> list[Raised]:
    """What the packs of one flight show, each cause told once."""
    lost = _lost(flight)
    out = {r.place for r in lost}
    low = _low(flight, aircraft)
    weak = {r.place for r in low}
    never = [] if out else _never(flight, aircraft, weak)
    silent = out | {r.place for r in never}
    share = [] if silent or weak else _share(flight, aircraft)
    steps = _steps(flight, aircraft)
    return [*lost, *never, *low, *share, *(steps or _paths(flight, aircraft))]


def lost_in_flight(flight: Flight) -> frozenset[str]:
    """Packs that stopped giving current under way."""
    return frozenset(o.place for o in flight.pack_outs if _in_flight(o, flight))


def _in_flight(out: PackOut, flight: Flight) -> bool:
    return out.kind is OutKind.LOST and any(
        p.kind is PhaseKind.FLIGHT and p.start_s < out.end_s and out.start_s < p.end_s
        for p in flight.phases
    )


def _lost(flight: Flight) -> list[Raised]:
    """One finding for each pack that stopped giving current without a plain reason.

    On the ground a hand may have switched it off: told where it was in a stir, or where its own
    voltage is gone, and it did not come back.
    """
    found: dict[str, list[PackOut]] = {}
    for out in flight.pack_outs:
        if _in_flight(out, flight):
            found.setdefault(out.place, []).append(out)
    raised = [_lost_one(place, outs) for place, outs in found.items()]
    stirs = [p for p in flight.phases if p.kind is PhaseKind.STIR]
    for out in flight.pack_outs:
        stirred = any(p.start_s < out.end_s and out.start_s < p.end_s for p in stirs)
        gone = out.kind is OutKind.LOST and not out.back
        gone = gone and (stirred or out.sign is OutSign.DEAD)
        if gone and out.place not in found:
            raised.append(_on_the_ground(out, flight))
    return raised


def _lost_one(place: str, outs: list[PackOut]) -> Raised:
    first = outs[0]
    long_s = sum(o.duration_s for o in outs)
    many = "" if len(outs) == 1 else f" {len(outs)} times"
    lasted = f"for {long_s:.0f} s in all" if outs[-1].back else "and not again"
    if all(o.sign is OutSign.UNKNOWN for o in outs):
        grave = long_s >= _LONG_S and max(o.share_before or 0.0 for o in outs) >= _MUCH
    else:
        grave = len(outs) > 1 or long_s >= _SURE_S
    return Raised(
        code="pack-out",
        level=Level.GROUND if grave else Level.WATCH,
        place=place,
        title=f"{place} stopped giving current in flight{many}, {lasted}",
        evidence=_out_evidence(outs),
        start_s=first.start_s,
        end_s=first.end_s,
    )


def _on_the_ground(out: PackOut, flight: Flight) -> Raised:
    where = "on the ground" if flight.kind == "flight" else "where no flight was recognised"
    return Raised(
        code="pack-out",
        level=Level.WATCH,
        place=out.place,
        title=f"{out.place} stopped giving current {where}, and not again",
        evidence=_out_evidence([out]),
        also=("it was switched off or unplugged by hand",),
        start_s=out.start_s,
        end_s=out.end_s,
    )


def _out_evidence(outs: list[PackOut]) -> dict[str, float | int | str | None]:
    bus = [o.bus_v for o in outs if o.bus_v is not None]
    return {
        "time_s": outs[0].start_s,
        "out_s": sum(o.duration_s for o in outs),
        "share_before": outs[0].share_before,
        "carried_a": max((o.carried_a for o in outs if o.carried_a is not None), default=None),
        "bus_v": min(bus, default=None),
        "own_v": outs[0].own_v,
        "sign": str(outs[0].sign),
    }


def _never(flight: Flight, aircraft: Aircraft, low: set[str]) -> list[Raised]:
    """A pack that is to share and gave nothing under load from first to last."""
    shared = _shared(flight)
    silent = [s for s in shared if s.high_share is not None and s.high_share < _NOTHING]
    if len(shared) < 2 or len(silent) != 1:
        return []
    state = silent[0]
    told = aircraft.pack(state.place)
    said = told is not None and "role" in told.model_fields_set
    other = next(s for s in shared if s is not state)
    held_off = state.place in low or _held_off(state, other, aircraft)
    if held_off:
        also: tuple[str, ...] = ("its voltage lies below the other's, so that it is held off",)
    elif said:
        also = ()
    else:
        also = ("it stands by by design, and the profile does not say so",)
    return [
        Raised(
            code="pack-out",
            level=Level.GROUND if said and not held_off else Level.WATCH,
            place=state.place,
            title=f"{state.place} gave no current under load",
            evidence={
                "share": state.share,
                "low_share": state.low_share,
                "high_share": state.high_share,
                "rest_v": state.rest_v,
                "loaded_v": state.loaded_v,
                "other_loaded_v": other.loaded_v,
            },
            also=also,
        )
    ]


def _held_off(state: PackState, other: PackState, aircraft: Aircraft) -> bool:
    """Whether a pack that gave nothing lies below the other under its load.

    Behind switches and diodes it cannot give then. One whose path is open lies above, at its rest
    voltage. Behind regulators their set-points decide, and its voltage says nothing.
    """
    return aircraft.regulated_v is None and _below(state, other, _SENSORS_V)


def _below(state: PackState, other: PackState, by_v: float = 0.0) -> bool:
    """Whether a pack's voltage under load is known to lie below the other's."""
    if state.loaded_v is None or other.loaded_v is None:
        return False
    return state.loaded_v < other.loaded_v + by_v


def _shared(flight: Flight) -> list[PackState]:
    return [s for s in flight.packs if s.role == "shared"]


def _low(flight: Flight, aircraft: Aircraft) -> list[Raised]:
    """Packs that were low: against the other, by their cells, or by the reserve at landing."""
    apart = _apart(flight, aircraft)
    out = []
    for state in flight.packs:
        pack = aircraft.pack(state.place)
        reasons = [
            r
            for r in (
                apart.get(state.place),
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
                Raised(
                    code="pack-low",
                    level=Level.WATCH,
                    place=state.place,
                    title=first.title,
                    evidence={**evidence, "counter_start_mah": state.counter_start_mah},
                    also=tuple(dict.fromkeys(x for r in reasons for x in r.also)),
                )
            )
    return out


def _apart(flight: Flight, aircraft: Aircraft) -> dict[str, Raised]:
    """The lower of a shared pair whose voltages at rest lie clearly apart."""
    pair = [s for s in _shared(flight) if s.rest_v is not None]
    if len(_shared(flight)) != 2 or len(pair) != 2:
        return {}
    low, high = sorted(pair, key=lambda s: s.rest_v or 0.0)
    packs = [aircraft.pack(s.place) for s in (low, high)]
    per_cell = [None if p is None or p.cells is None else p.cells for p in packs]
    kinds = [None if p is None else p.chemistry for p in packs]
    if None not in kinds and kinds[0] != kinds[1]:
        return {}
    cells = (per_cell[0] or 1, per_cell[1] or 1) if None not in per_cell else (1, 1)
    low_v, high_v = (low.rest_v or 0.0) / cells[0], (high.rest_v or 0.0) / cells[1]
    if low_v > high_v:
        return {}
    gap_pct = 100 * (high_v - low_v) / high_v
    if gap_pct <= _APART_PCT or _rested_life(low.rest_v or 0.0, high.rest_v or 0.0, packs[0]):
        return {}
    also = () if None not in kinds else ("the two packs are of different kinds by design",)
    return {
        low.place: Raised(
            code="pack-low",
            level=Level.WATCH,
            place=low.place,
            title=f"{low.place} began at {low.rest_v:.2f} V at rest, {high.place} at "
            f"{high.rest_v:.2f} V",
            evidence={
                "rest_v": low.rest_v,
                "other_rest_v": high.rest_v,
                "gap_pct": gap_pct,
                "share": low.share,
            },
            also=also,
        )
    }


def _rested_life(low_v: float, high_v: float, pack: Pack | None) -> bool:
    """Whether both may be lithium iron phosphate, the higher one just off the charger."""
    if pack is not None and pack.chemistry is not None:
        counts = [pack.cells or 0] if pack.chemistry == "life" else []
    else:
        both = [set(guess_pack(v).candidates) for v in (low_v, high_v)]
        counts = [n for kind, n in both[0] & both[1] if kind == "life"]
    return any(n and low_v / n >= _LIFE_REST_V for n in counts)


def _by_cells(state: PackState, pack: Pack) -> Raised | None:
    """Rest voltage per cell at or below nominal: the larger part of the charge is gone."""
    if state.rest_v is None or pack.chemistry is None or pack.cells is None:
        return None
    cell_v, nominal_v = state.rest_v / pack.cells, CELL_V[pack.chemistry][1]
    if cell_v > nominal_v:
        return None
    return Raised(
        code="pack-low",
        level=Level.WATCH,
        place=state.place,
        title=f"{state.place} began at {cell_v:.2f} V a cell at rest; nominal is {nominal_v:.2f} V",
        evidence={"rest_v": state.rest_v, "cell_v": cell_v, "nominal_v": nominal_v},
    )


def _by_reserve(state: PackState, reserve_pct: float) -> Raised | None:
    """Less than the reserve left at landing.

    A rest voltage tells the charge roughly: then all of its interval must lie below. A pack taken
    as full had no more than that.
    """
    left = state.high_landing_pct if state.basis == "rest voltage" else state.landing_pct
    if left is None or state.landing_pct is None or left >= reserve_pct:
        return None
    basis = {"records": "by the records", "full": "even if it was full before"}
    return Raised(
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


def _share(flight: Flight, aircraft: Aircraft) -> list[Raised]:
    """An uneven share of a pair: watch where the paths differ, else it is their charge."""
    off = [s for s in _shared(flight) if s.off_balance and s.share is not None]
    if not off or len(_shared(flight)) != 2:
        return []
    state = min(off, key=lambda s: s.share or 0.0)
    band = aircraft.limits.share_points / 100
    share = state.share or 0.0
    low, high = state.low_change_share, state.high_change_share
    even = low is not None and high is not None and high >= 0.5 - band and low <= 0.5 + band
    other = next(s for s in _shared(flight) if s is not state)
    held = share < _HELD and _below(state, other)
    cause = ""
    if even:
        cause = "unequal charge: of a change of the load both take their part"
    elif held:
        cause = "unequal charge: it lies below the other and is held off most of the time"
    return [
        Raised(
            code="pack-share",
            level=Level.CLEAR if cause else Level.WATCH,
            place=state.place,
            title=f"{state.place} gave {100 * share:.0f} % of the current under load",
            evidence={
                "share": state.share,
                "low_share": state.low_share,
                "high_share": state.high_share,
                "change_share": state.change_share,
                "low_change_share": low,
                "high_change_share": high,
                "allowed_points": aircraft.limits.share_points,
            },
            also=(cause,) if cause else (),
        )
    ]


def _steps(flight: Flight, aircraft: Aircraft) -> list[Raised]:
    """A path whose resistance went up within the flight."""
    limits = aircraft.limits
    out = []
    for s in flight.path_steps:
        part = s.low_rise_mohm / max(s.before_mohm, 1.0)
        if s.low_rise_mohm < limits.branch_watch_mohm or part < limits.branch_watch_pct / 100:
            continue
        grave = s.low_rise_mohm >= limits.branch_ground_mohm
        grave = grave and part >= limits.branch_ground_pct / 100
        out.append(
            Raised(
                code="switch-step",
                level=Level.GROUND if grave else Level.WATCH,
                place=s.place,
                title=f"{s.place}: {s.rise_mohm:.0f} mOhm more to {s.parent} from "
                f"{_clock(s.time_s)} on, {max(s.before_mohm, 0):.0f} before",
                evidence={
                    "time_s": s.time_s,
                    "before_mohm": s.before_mohm,
                    "rise_mohm": s.rise_mohm,
                    "low_rise_mohm": s.low_rise_mohm,
                    "high_rise_mohm": s.high_rise_mohm,
                },
                start_s=s.time_s,
                end_s=s.time_s,
            )
        )
    return out


def _clock(seconds: float) -> str:
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes:02d}:{rest:02d}"


def _paths(flight: Flight, aircraft: Aircraft) -> list[Raised]:
    """Of a shared pair: one path from pack to bus clearly above the other's."""
    shared = {p.name for p in aircraft.packs if p.role == "shared"}
    known = [
        r
        for r in flight.resistances
        if r.kind == "branch" and r.parent in shared and r.mohm is not None
    ]
    if len(shared) != 2 or len(known) != 2:
        return []
    low, high = sorted(known, key=lambda r: r.mohm or 0.0)
    least, most = high.low_mohm or 0.0, _most(low)
    if least - most <= _PATH_MOHM or least <= _PATH_FACTOR * most:
        return []
    return [
        Raised(
            code="switch-step",
            level=Level.WATCH,
            place=high.parent or "",
            title=f"{high.parent}: {high.mohm:.0f} mOhm from pack to {high.place}, against "
            f"{low.mohm:.0f} of {low.parent}",
            evidence={
                "mohm": high.mohm,
                "low_mohm": high.low_mohm,
                "high_mohm": high.high_mohm,
                "compared_with": low.parent,
                "compared_mohm": low.mohm,
            },
            also=("the two paths were built unlike",),
        )
    ]


def _most(r: Resistance) -> float:
    return max(r.high_mohm if r.high_mohm is not None else (r.mohm or 0.0), 0.0)
