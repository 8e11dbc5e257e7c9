"""The state of each pack in a flight: share of the load, charge at both ends, flights left."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from telemetry.aircraft import Aircraft, Pack
from telemetry.measure.charge import rest_volts
from telemetry.measure.charge_state import (
    ChargeState,
    FlightsLeft,
    charge_state,
    counter_mismatch,
    flights_left,
)
from telemetry.measure.floors import rest_floor
from telemetry.measure.sharing import Sharing, loaded_stretches
from telemetry.measure.supply.crossing import charged_packs
from telemetry.model.channels import Quantity
from telemetry.numerics.intervals import Interval, propagate
from telemetry.numerics.sampling import outside
from telemetry.readings import Readings
from telemetry.results import Charge, ChargeBasis, PackState, Phase, PhaseKind

# Gain error of a counter (common practice, no source: 1 to 2 %, taken twice).
_COUNTER_PART = 0.04
_NOTHING = Interval.exact(0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """What was drawn from the packs before a flight.

    Attributes
    ----------
    since_full_mah : mapping of Interval
        By pack, since it was last full; a pack that is not in it is not known.
    flights_mah : mapping of sequence of float
        What earlier flights took, by pack.
    on_record : bool
        Whether it rests on records of charging. Where a pack has none, a voltage at rest tells
        the charge if the chemistry allows that; without any records a pack of another chemistry
        counts as full at the first row.
    """

    since_full_mah: Mapping[str, Interval] = field(default_factory=dict)
    flights_mah: Mapping[str, Sequence[float]] = field(default_factory=dict)
    on_record: bool = False

    def before(self, pack: str) -> Interval | None:
        """Drawn since the pack was last full, or taken as full; None where not known."""
        return self.since_full_mah.get(pack, None if self.on_record else _NOTHING)

    def then(self, states: Sequence[PackState]) -> Drawn:
        """The same after a flight with these states."""
        since, flights = {}, dict(self.flights_mah)
        for state in states:
            was, own = self.before(state.place), _drawn(state)
            if was is not None and own is not None:
                since[state.place] = _sum(was, own)
                flights[state.place] = (*flights.get(state.place, ()), own.value)
        return replace(self, since_full_mah=since, flights_mah=flights)


def pack_states(
    readings: Readings,
    aircraft: Aircraft,
    phases: Sequence[Phase],
    charge: Sequence[Charge],
    sharing: Sharing,
    drawn: Drawn,
) -> tuple[PackState, ...]:
    """State of every pack of the path in one flight.

    Parameters
    ----------
    readings : Readings
        Of the flight.
    aircraft : Aircraft
        As of the day of the flight.
    phases : sequence of Phase
    charge : sequence of Charge
        Of the same flight.
    sharing : Sharing
        Of the same flight; its outs are left out of the loaded voltage too.
    drawn : Drawn
        Before this flight.

    Returns
    -------
    tuple of PackState
    """
    flown = any(p.kind is PhaseKind.FLIGHT for p in phases)
    spans = loaded_stretches(phases, sharing.outs)
    shares = {s.place: s for s in sharing.giving}
    # A calm flight hardly moves the load: how a change divides, a stir tells as well.
    changes = {s.place: s.of_changes for s in sharing.under_load}
    by_place = {c.place: c for c in charge}
    charged = charged_packs(readings, aircraft)
    rests = {p.name: _rests(p, by_place, readings, aircraft, phases) for p in aircraft.packs}
    out = []
    for pack in aircraft.packs:
        own = by_place.get(pack.name)
        if own is None and len(aircraft.packs) == 1:
            own = by_place.get(aircraft.root or "")
        share = shares.get(pack.name)
        amount = drawn_in_flight(own)
        rest_v, landing_rest_v = rests[pack.name]
        alike = [p.name for p in aircraft.packs if p is pack or p.role == pack.role == "shared"]
        floor = rest_floor(pack, [v for name in alike for v in rests[name]])
        known, basis, before = pack_charge(pack, drawn, amount, rest_v)
        earlier = drawn.flights_mah.get(pack.name, ())
        left = flights_left_of(pack, aircraft, before, amount, earlier) if flown else None
        counter = readings.get(Quantity.CONSUMED, pack.name)
        part = _ends(None if share is None else share.share)
        change = _ends(changes.get(pack.name))
        mah, start, landing = _ends(amount), _ends(known.start_pct), _ends(known.landing_pct)
        state = PackState(
            place=pack.name,
            role=pack.role,
            label=pack.label,
            rest_v=rest_v,
            landing_rest_v=landing_rest_v,
            rest_floor_v=None if floor is None else floor.floor_v,
            damage_v=None if floor is None else floor.damage_v,
            cells=None if floor is None else floor.cells,
            share=part[0],
            low_share=part[1],
            high_share=part[2],
            change_share=change[0],
            low_change_share=change[1],
            high_change_share=change[2],
            off_balance=share is not None and share.off_balance,
            loaded_v=_loaded_v(readings, pack.name, spans),
            charged_a=into.amps if (into := charged.get(pack.name)) else None,
            charged_s=into.seconds if into else None,
            charged_mah=into.mah if into else None,
            counter_start_mah=float(counter.v[0]) if counter and counter.size else None,
            drawn_mah=mah[0],
            low_drawn_mah=mah[1],
            high_drawn_mah=mah[2],
            start_pct=start[0],
            low_start_pct=start[1],
            high_start_pct=start[2],
            landing_pct=landing[0],
            low_landing_pct=landing[1],
            high_landing_pct=landing[2],
            basis=basis,
            flights_left=None if left is None else left.usual,
            cautious_left=None if left is None else left.cautious,
        )
        # By its counter there may be charge in it yet; no flight is.
        spent = state.run_down and state.flights_left is not None
        out.append(replace(state, flights_left=0, cautious_left=0) if spent else state)
    return tuple(out)


def _rests(
    pack: Pack,
    by_place: Mapping[str, Charge],
    readings: Readings,
    aircraft: Aircraft,
    phases: Sequence[Phase],
) -> tuple[float | None, float | None]:
    """Voltages at rest of a pack before and after: its own, or of an only pack what it feeds."""
    root = aircraft.root or pack.name
    own = by_place.get(pack.name)
    if own is not None:
        return own.start_v, own.end_v
    if readings.get(Quantity.VOLTAGE, pack.name) is not None:
        amps = readings.get(Quantity.CURRENT, root)
        return rest_volts(pack.name, amps, readings, phases)
    # Behind a regulator the voltage is not the pack's.
    regulated = aircraft.regulated_v is not None or aircraft.regulator is not None
    fed = None if len(aircraft.packs) > 1 or regulated else by_place.get(root)
    return (None, None) if fed is None else (fed.start_v, fed.end_v)


def _loaded_v(readings: Readings, pack: str, spans: Sequence[tuple[float, float]]) -> float | None:
    volts = readings.get(Quantity.VOLTAGE, pack)
    if volts is None:
        return None
    part = volts.v[~outside(volts.t, list(spans))]
    return float(np.median(part)) if part.size else None


def _ends(x: Interval | None) -> tuple[float | None, float | None, float | None]:
    return (None, None, None) if x is None else (x.value, x.low, x.high)


def _drawn(state: PackState) -> Interval | None:
    if state.drawn_mah is None or state.low_drawn_mah is None or state.high_drawn_mah is None:
        return None
    return Interval(state.drawn_mah, state.low_drawn_mah, state.high_drawn_mah)


def _sum(a: Interval, b: Interval) -> Interval:
    return propagate(lambda x: {"mah": x["a"] + x["b"]}, {"a": a, "b": b})["mah"]


def drawn_in_flight(charge: Charge | None) -> Interval | None:
    """Drawn in a flight, mAh; where counter and integral differ, the larger, and both ends."""
    if charge is None:
        return None
    found: list[Interval] = []
    if charge.integrated_mah is not None:
        found.append(Interval.around(charge.integrated_mah, 2 * (charge.uncertain_mah or 0.0)))
    if charge.logged_mah is not None:
        found.append(Interval.around(charge.logged_mah, _COUNTER_PART * abs(charge.logged_mah)))
    if not found:
        return None
    if charge.integrated_mah is not None and charge.logged_mah is not None:
        held = counter_mismatch(charge.logged_mah, charge.integrated_mah, charge.uncertain_mah)
        if held is not None and not held.differs:
            return found[0]
    value = max(x.value for x in found)
    # Nothing drawn at the least; below it only where the pack was charged.
    low = min(max(min(x.low for x in found), 0.0), value)
    return Interval(value, low, max(x.high for x in found))


def pack_charge(
    pack: Pack, drawn: Drawn, amount: Interval | None, rest_v: float | None
) -> tuple[ChargeState, ChargeBasis, Interval | None]:
    """Charge, what it rests on, and what had been drawn before the flight since full.

    It rests on records, else on the voltage at rest, else on the pack having been full.
    """
    before = drawn.before(pack.name)
    told = charge_state(
        capacity_mah=pack.capacity_mah,
        before_mah=before if drawn.on_record else None,
        drawn_mah=amount,
        chemistry=pack.chemistry,
        rest_cell_v=None if rest_v is None or pack.cells is None else rest_v / pack.cells,
    )
    start, capacity = told.start_pct, pack.capacity_mah
    if told.basis == ChargeBasis.REST_VOLTAGE and start is not None and capacity is not None:
        ends = (100 - start.value, 100 - start.high, 100 - start.low)
        return told, told.basis, Interval(*(x * capacity / 100 for x in ends))
    if drawn.on_record:
        return told, told.basis, before
    full = charge_state(capacity_mah=capacity, before_mah=before, drawn_mah=amount)
    return full, ChargeBasis.NONE if full.start_pct is None else ChargeBasis.FULL, before


def flights_left_of(
    pack: Pack,
    aircraft: Aircraft,
    before: Interval | None,
    amount: Interval | None,
    flown: Sequence[float],
) -> FlightsLeft | None:
    """How many more such flights a pack has charge for; None where that is not known."""
    if pack.capacity_mah is None or before is None or amount is None:
        return None
    return flights_left(
        capacity_mah=pack.capacity_mah,
        drawn_mah=_sum(before, amount),
        flights_mah=[*flown, amount.value],
        reserve_pct=aircraft.limits.reserve_pct,
    )
