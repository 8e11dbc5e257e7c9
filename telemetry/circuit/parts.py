"""Each wire, connector and supply: its current against its limit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from telemetry.aircraft import Aircraft, Connector, Lead
from telemetry.aircraft.wire import ampacity_a, section_mm2
from telemetry.circuit.currents import Currents
from telemetry.circuit.known import Measured
from telemetry.circuit.leads import leads, wire_words
from telemetry.results import Margin, PartLoad


def part_loads(
    aircraft: Aircraft, measured: Measured, found: Sequence[Margin]
) -> tuple[PartLoad, ...]:
    """Each wire, connector and supply of the profile: its current against its limit.

    Parameters
    ----------
    aircraft : Aircraft
    measured : Measured
        Currents of one or more flights.
    found : sequence of Margin
        Of the same flights: its cases tell the worst currents.
    """
    return tuple(parts_of(aircraft, Currents(aircraft, measured, found)))


def parts_of(aircraft: Aircraft, currents: Currents) -> Iterator[PartLoad]:
    """Wire and connectors of each lead, then the supplies; worst and usual current of each."""
    for place, lead in leads(aircraft):
        limit_a, source = wire_limit_a(lead)
        yield _part(place, "wire", wire_words(lead), limit_a, source, currents)
        for number, plug in enumerate(lead.connectors, 1):
            pin_a, source = _pin_a(plug, aircraft)
            what = f"{plug.pins} pin{'s' if plug.pins > 1 else ''} of {pin_a:g} A"
            yield _part(place, f"connector {number}", what, plug.pins * pin_a, source, currents)
    for supply in aircraft.supplies:
        yield _part(supply.name, supply.kind, supply.name, supply.limit_a, "profile", currents)


def wire_limit_a(lead: Lead) -> tuple[float, str]:
    """Continuous current of a lead's wires, A, and whether profile or wire table says so."""
    if lead.limit_a is not None:
        return lead.limit_a, "profile"
    return lead.wires * ampacity_a(section_mm2(lead)), "default"


def _pin_a(plug: Connector, aircraft: Aircraft) -> tuple[float, str]:
    if plug.pin_a is not None:
        return plug.pin_a, "profile"
    limits = aircraft.limits
    return (limits.panel_pin_a if plug.kind == "panel" else limits.pin_a), "default"


def _part(
    place: str, part: str, what: str, limit_a: float | None, source: str, currents: Currents
) -> PartLoad:
    usual, (worst, case) = currents.usual(place), currents.worst(place)
    return PartLoad(
        place=place,
        part=part,
        what=what,
        usual_a=usual,
        worst_a=worst,
        worst_case=case,
        limit_a=limit_a,
        limit_from="" if limit_a is None else source,
        over=None if limit_a is None or usual is None else usual > limit_a,
        worst_over=None if limit_a is None or worst is None else worst > limit_a,
    )
