"""What a profile alone implies: packs at their charge, all servos moving, and the voltages left."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Literal

from telemetry.aircraft import CELL_V, Aircraft
from telemetry.circuit.budget_records import PlaceBudget
from telemetry.circuit.known import TOTAL, Measured
from telemetry.circuit.margins import CASES, case_level, worked_out
from telemetry.circuit.worst_cases import Circuit
from telemetry.numerics.intervals import Interval
from telemetry.results import Margin, Resistance, WorstCase


def design_state(
    aircraft: Aircraft, charge: Literal["full", "nominal", "floor"] = "nominal"
) -> Measured:
    """The state that a profile alone implies: all packs alike, all servos moving.

    Parameters
    ----------
    aircraft : Aircraft
    charge : str
        At which of a cell's voltages the packs are.

    Returns
    -------
    Measured
        Currents only where every servo of a place and below has ``moving_a``. What the profile
        does not tell is left out.
    """
    volts: dict[str, Interval] = {}
    amps: dict[str, Interval] = {}
    for pack in aircraft.packs:
        if pack.chemistry is not None and pack.cells is not None:
            cell_v = CELL_V[pack.chemistry][("full", "nominal", "floor").index(charge)]
            volts[pack.name] = Interval.exact(pack.cells * cell_v)
            amps[pack.name] = Interval.exact(0.0)
    root = aircraft.root
    if root is not None and root not in volts:
        shared = [volts.get(p.name) for p in aircraft.packs if p.role == "shared"]
        known = [v for v in shared if v is not None]
        if aircraft.regulated_v is not None:
            volts[root] = Interval.exact(aircraft.regulated_v)
        elif known and len(known) == len(shared):
            volts[root] = min(known, key=lambda v: v.value)
    if root is not None and root in volts:
        amps[TOTAL] = Interval.exact(0.0)
        for node in aircraft.nodes:
            volts.setdefault(node.name, volts[root])
            amps[node.name] = Interval.exact(0.0)
    moving = {
        place: Interval.exact(a)
        for place in [root, *(n.name for n in aircraft.nodes)]
        if place is not None and (a := moving_a(place, aircraft)) is not None
    }
    if root is not None and root in moving:
        moving[TOTAL] = moving[root]
    levels = ((place, aircraft.comfort_v(place, v.value)) for place, v in volts.items())
    return Measured(
        comfort_v={place: level for place, level in levels if level is not None},
        landing_v=volts,
        landing_a=amps,
        usual_a={place: x.value for place, x in moving.items()},
        peak_a=moving,
    )


def moving_a(place: str, aircraft: Aircraft, above: frozenset[str] = frozenset()) -> float | None:
    """Current of all servos of a place and below, moving; None where one is not told."""
    own = [None if s.moving_a is None else s.count * s.moving_a for s in aircraft.servos_at(place)]
    below = [
        moving_a(child, aircraft, above | {place})
        for child in aircraft.children(place)
        if child not in above
    ]
    total = 0.0
    for part in (*own, *below):
        if part is None:
            return None
        total += part
    return total if own or below else None


def design_resistances(aircraft: Aircraft) -> Iterator[Resistance]:
    """Of a regulated root: that of its regulators, none where the profile tells none."""
    root = aircraft.root
    if root is None or aircraft.regulated_v is None:
        return
    supplies = [s for name in aircraft.feeders(root) if (s := aircraft.supply(name)) is not None]
    told = [s.resistance_mohm for s in supplies if s.resistance_mohm is not None]
    mohm = 1.0 / sum(1.0 / r for r in told) if told and min(told) > 0 else 0.0
    yield Resistance(
        kind="source",
        place=root,
        mohm=mohm,
        low_mohm=mohm,
        high_mohm=mohm,
        updates=0,
        method="from the profile",
    )


def designed(
    nominal: Sequence[Margin], aircraft: Aircraft, resistances: Sequence[Resistance]
) -> tuple[PlaceBudget, ...]:
    """Voltages with the packs at nominal, their intervals from packs at their floor to full ones.

    All packs are low or full together, which intervals of each by itself would not say.
    """
    circuits = [
        Circuit(aircraft, resistances, design_state(aircraft, charge))
        for charge in ("nominal", "floor", "full")
    ]
    places = [margin.place for margin in nominal]
    charged = [
        [worked_out(name, places, circuit) for circuit in circuits]
        for name in ("all-packs", *CASES)
    ]
    out = []
    for margin in nominal:
        all_packs, *cases = (
            _over_charge(*(found[margin.place] for found in each)) for each in charged
        )
        ends = (all_packs.voltage_v, all_packs.low_v, all_packs.high_v)
        known = [v for v in ends if v is not None]
        out.append(
            PlaceBudget(
                place=margin.place,
                predicted_v=Interval(*known) if len(known) == 3 else None,
                measured_v=None,
                differs=None,
                lowest_v=None,
                restart_v=margin.restart_v,
                comfort_v=margin.comfort_v,
                cases=tuple(
                    replace(
                        c,
                        level=case_level(c, margin.restart_v, margin.comfort_v, aircraft.limits),
                    )
                    for c in cases
                ),
            )
        )
    return tuple(out)


def _over_charge(nominal: WorstCase, floor: WorstCase, full: WorstCase) -> WorstCase:
    return replace(nominal, low_v=floor.low_v, high_v=full.high_v)
