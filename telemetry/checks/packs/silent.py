"""Packs that gave nothing: for a while in flight, on the ground, or from first to last."""

from __future__ import annotations

from telemetry.aircraft import Aircraft
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.draft import FindingDraft, Possible, Words
from telemetry.checks.packs.low import shared_packs
from telemetry.results import Flight, Level, OutKind, OutSign, PackOut, PackState, PhaseKind, Stir

# Under this share of the current a pack gives nothing (heuristic: three sensor gains of 1 to 2 %).
NOTHING = 0.05
# An outage shorter than this and seen once may be two readings that failed; where no voltage
# confirms it, one shorter than that (heuristic).
SURE_S, _LONG_S = 3.0, 6.0
# Packs are switched off one after the other within this time (common practice, no source).
_MINUTE_S = 60.0
# What gave this part of a stir gives when it is asked; what draws less than that part of it asks
# less (heuristic).
_GAVE, _LIGHTER = 0.1, 0.5
# Two voltage sensors may differ by this much (heuristic: half a percent of 8 V).
_SENSORS_V = 0.04


# Whether a pack that gave nothing from first to last stands by, no log tells.
_ROLE = Words(
    (
        "{place} itself, its plug, switch or lead is open, or it was switched off",
        "its current sensor failed",
    ),
    "Switch the other pack off on the ground and see whether the bus stays up. Where this pack "
    'stands by by design, say so in the profile: role = "standby".',
    "Find out before the next flight whether it gives current when the other is off.",
    kinds=(CauseKind.CONTACT, CauseKind.CURRENT_SENSOR),
)


def lost_in_flight(flight: Flight) -> frozenset[str]:
    """Packs that stopped giving current under way."""
    return frozenset(o.place for o in flight.pack_outs if _in_flight(o, flight))


def _in_flight(out: PackOut, flight: Flight) -> bool:
    return out.kind is OutKind.LOST and any(
        p.kind is PhaseKind.FLIGHT and p.start_s < out.end_s and out.start_s < p.end_s
        for p in flight.phases
    )


def lost_packs(flight: Flight) -> list[FindingDraft]:
    """One finding for each pack that stopped giving current without a plain reason.

    On the ground a hand may have switched it off: reported where it was in a stir, where its own
    voltage is gone, or where the other went on alone for a minute, and it did not come back. A calm
    flight may look like the ground.
    """
    found: dict[str, list[PackOut]] = {}
    for out in flight.pack_outs:
        if _in_flight(out, flight):
            found.setdefault(out.place, []).append(out)
    drafts = [_lost_one(place, outs) for place, outs in found.items()]
    stirs = [p for p in flight.phases if p.kind is PhaseKind.STIR]
    for out in flight.pack_outs:
        stirred = any(p.start_s < out.end_s and out.start_s < p.end_s for p in stirs)
        gone = out.kind is OutKind.LOST and not out.back
        gone = gone and (stirred or out.sign is OutSign.DEAD or out.duration_s >= _MINUTE_S)
        if gone and out.place not in found:
            drafts.append(_on_the_ground(out, flight))
    return drafts


def _lost_one(place: str, outs: list[PackOut]) -> FindingDraft:
    first = outs[0]
    long_s = sum(o.duration_s for o in outs)
    many = "" if len(outs) == 1 else f" {len(outs)} times"
    lasted = f"for {long_s:.0f} s in all" if outs[-1].back else "and not again"
    if all(o.sign is OutSign.UNKNOWN for o in outs):
        grave = long_s >= _LONG_S
    else:
        grave = len(outs) > 1 or long_s >= SURE_S
    return FindingDraft(
        code="pack-out",
        level=Level.GROUND if grave else Level.WATCH,
        place=place,
        title=f"{place} stopped giving current in flight{many}, {lasted}",
        evidence=_out_evidence(outs),
        start_s=first.start_s,
        end_s=first.end_s,
    )


def _on_the_ground(out: PackOut, flight: Flight) -> FindingDraft:
    where = "on the ground" if flight.kind == "flight" else "where no flight was recognised"
    return FindingDraft(
        code="pack-out",
        level=Level.WATCH,
        place=out.place,
        title=f"{out.place} stopped giving current {where}, and not again",
        evidence=_out_evidence([out]),
        likelier=(
            Possible(CauseKind.SWITCHED_BY_HAND, "it was switched off or unplugged by hand"),
        ),
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


def never_gave(flight: Flight, aircraft: Aircraft, low: set[str | None]) -> list[FindingDraft]:
    """A pack that is to share and gave nothing under load from first to last."""
    shared = shared_packs(flight)
    silent = [
        s
        for s in shared
        if s.high_share is not None and s.high_share < NOTHING and not _answered(s.place, flight)
    ]
    if len(shared) < 2 or len(silent) != 1:
        return []
    state = silent[0]
    pack = aircraft.pack(state.place)
    said = pack is not None and "role" in pack.model_fields_set
    other = next(s for s in shared if s is not state)
    if state.charged_a is not None or (state.place in low and lies_below(state, other)):
        return []  # one that the other charges, or that lies below it and waits: told there
    held_off = state.place in low or _held_off(state, other, aircraft)
    if _took_over(flight, state, other):
        level = Level.CLEAR
    elif said and not held_off:
        level = Level.GROUND
    else:
        level = Level.WATCH if held_off else Level.UNKNOWN
    also: tuple[Possible, ...] = ()
    if held_off:
        held = "its voltage lies below the other's, so that it is held off"
        also = (Possible(CauseKind.UNLIKE_CHARGE, held),)
    elif not said:
        by_design = "it stands by by design, and the profile does not say so"
        also = (Possible(CauseKind.STANDS_BY, by_design),)
    return [
        FindingDraft(
            code="pack-out",
            level=level,
            place=state.place,
            title=f"{state.place} gave no current under load"
            + ("; whether it stands by is not told" if level is Level.UNKNOWN else ""),
            evidence={
                "share": state.share,
                "low_share": state.low_share,
                "high_share": state.high_share,
                "rest_v": state.rest_v,
                "loaded_v": state.loaded_v,
                "other_loaded_v": other.loaded_v,
            },
            likelier=also,
            words=_ROLE if level is Level.UNKNOWN else None,
        )
    ]


def _answered(place: str, flight: Flight) -> bool:
    """Whether a pack gave when more was asked of it.

    Its voltage fell with its own current; or it rested before a stir as it did in a flight of less
    load, and gave in the stir.
    """
    fell = any(
        r.kind == "source" and r.place == place and r.low_mohm is not None and r.low_mohm > 0.0
        for r in flight.resistances
    )
    return fell or any(_gave_in(s, place, flight) for s in flight.stirs)


def _gave_in(stir: Stir, place: str, flight: Flight) -> bool:
    """Whether a pack gave in a stir before the flight, and nothing at rest before it."""
    packs = {s.place for s in shared_packs(flight)}
    own = [p for p in stir.places if p.place in packs]
    rests = {p.place: p.rest_a for p in own if p.rest_a is not None}
    means = {p.place: p.mean_a for p in own if p.mean_a is not None}
    if stir.after_flight or not packs <= rests.keys() & means.keys():
        return False
    rested = rests[place] < NOTHING * sum(rests.values())
    flown_h = sum(p.duration_s for p in flight.phases if p.kind is PhaseKind.FLIGHT) / 3600.0
    drawn = [s.drawn_mah for s in shared_packs(flight) if s.drawn_mah is not None]
    flown_a = sum(drawn) / 1000.0 / flown_h if flown_h > 0.0 else 0.0
    stirred_a = sum(means.values())
    return rested and means[place] >= _GAVE * stirred_a and flown_a <= _LIGHTER * stirred_a


def _took_over(flight: Flight, state: PackState, other: PackState) -> bool:
    """Whether a pack carried the load while the other was switched off for a check."""
    checks = [o for o in flight.pack_outs if o.place == other.place and o.kind is OutKind.CHECK]
    off = [o for o in flight.pack_outs if o.place == state.place]
    return any(
        (c.carried_a or 0.0) > 0.0
        and not any(o.start_s < c.end_s and c.start_s < o.end_s for o in off)
        for c in checks
    )


def _held_off(state: PackState, other: PackState, aircraft: Aircraft) -> bool:
    """Whether a pack that gave nothing lies below the other under its load.

    Behind switches and diodes it cannot give then. One whose path is open lies above, at its rest
    voltage. Behind regulators their set-points decide, and its voltage says nothing.
    """
    return aircraft.regulated_v is None and lies_below(state, other, _SENSORS_V)


def lies_below(state: PackState, other: PackState, by_v: float = 0.0) -> bool:
    """Whether a pack's voltage under load is known to lie below the other's."""
    if state.loaded_v is None or other.loaded_v is None:
        return False
    return state.loaded_v < other.loaded_v + by_v
