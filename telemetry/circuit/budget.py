"""What the wiring and the packs can carry: predicted against measured, and against limits.

With a flight's measurements the budget shows what was drawn; without any it is a design: packs at
nominal voltage, resistances from the profile and the wire table, currents from the servos' own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from telemetry.aircraft import Aircraft
from telemetry.aircraft.wire import lead_mohm
from telemetry.circuit.budget_records import Budget, PlaceBudget
from telemetry.circuit.currents import Currents
from telemetry.circuit.design import design_resistances, design_state, designed
from telemetry.circuit.known import Measured
from telemetry.circuit.leads import branch_measured, lead_budget, leads
from telemetry.circuit.margins import margins
from telemetry.circuit.parts import parts_of
from telemetry.numerics.intervals import Interval, propagate
from telemetry.results import Margin, Resistance

# Two voltage sensors at rest on one supply may differ by this much (heuristic: half a percent of 8
# V).
_SENSORS_V = 0.04


def budget(
    aircraft: Aircraft,
    resistances: Sequence[Resistance] = (),
    measured: Measured | None = None,
) -> Budget:
    """What each lead, connector and supply carries, and the voltage left at each place.

    Parameters
    ----------
    aircraft : Aircraft
        As of one day (:meth:`Aircraft.on`).
    resistances : sequence of Resistance
        Measured ones, of a flight or pooled over flights.
    measured : Measured or None
        Currents and voltages of the same flights; None gives the design budget.

    Returns
    -------
    Budget
    """
    if measured is None:
        basis, measured = "design", design_state(aircraft)
        resistances = (*resistances, *design_resistances(aircraft))
        found = margins(aircraft, resistances, measured)
        places = designed(found, aircraft, resistances)
    else:
        basis = "measured"
        found = margins(aircraft, resistances, measured)
        places = tuple(_place(m, aircraft, measured) for m in found)
    currents = Currents(aircraft, measured, found)
    return Budget(
        aircraft=aircraft.name,
        basis=basis,
        places=places,
        leads=tuple(
            lead_budget(place, lead, branch_measured(place, aircraft, resistances), currents)
            for place, lead in leads(aircraft)
        ),
        parts=tuple(parts_of(aircraft, currents)),
    )


def _place(margin: Margin, aircraft: Aircraft, measured: Measured) -> PlaceBudget:
    predicted = _predicted(margin.place, aircraft, measured)
    read = measured.landing_v.get(margin.place)
    differs = None
    if predicted is not None and read is not None:
        gap = propagate(
            lambda x: {"v": x["read"] - x["predicted"]}, {"read": read, "predicted": predicted}
        )["v"]
        differs = gap.low > _SENSORS_V or gap.high < -_SENSORS_V
    return PlaceBudget(
        place=margin.place,
        predicted_v=predicted,
        measured_v=read,
        differs=differs,
        lowest_v=margin.lowest_v,
        restart_v=margin.restart_v,
        comfort_v=margin.comfort_v,
        cases=margin.cases,
    )


def _predicted(place: str, aircraft: Aircraft, measured: Measured) -> Interval | None:
    """Voltage of a node at the mean load, from the place that feeds it and the wire table."""
    node = aircraft.node(place)
    if node is None or node.fed_from is None or node.lead is None:
        return None
    above = measured.landing_v.get(node.fed_from)
    amps = measured.landing_a.get(place)
    if above is None or amps is None:
        return None

    def volts(x: Mapping[str, float]) -> dict[str, float]:
        return {"v": x["above"] - x["amps"] * x["mohm"] / 1000}

    return propagate(volts, {"above": above, "amps": amps, "mohm": lead_mohm(node.lead)})["v"]
