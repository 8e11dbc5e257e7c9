"""The pipeline for one log: read, judge, put together. Nothing clever happens here."""

from __future__ import annotations

from datetime import date

import numpy as np

from telemetry.aircraft import Aircraft, completed_from, infer_path
from telemetry.checks.in_flight import judge_log
from telemetry.circuit.margins import margins
from telemetry.circuit.measured import measured_in, place_loads
from telemetry.circuit.parts import part_loads
from telemetry.detect.brownouts import find_brownouts, without_switching
from telemetry.detect.low import low_supplies, supply_levels
from telemetry.detect.path.holding import find_droops
from telemetry.detect.path.placing import place_events
from telemetry.detect.phases import FlightPart, find_parts
from telemetry.detect.quality import columns_used, judge_quality
from telemetry.detect.sags import find_voltage_events
from telemetry.detect.spikes import find_spikes
from telemetry.detect.stirs import measure_stirs
from telemetry.measure.charge import measure_charge
from telemetry.measure.control_check import check_shares
from telemetry.measure.currents.frozen import frozen_currents, without_frozen
from telemetry.measure.currents.nodes import unusual_currents
from telemetry.measure.floors import pack_floors
from telemetry.measure.leads.changes import lead_changes
from telemetry.measure.leads.ratios import drop_ratios
from telemetry.measure.packs import pack_outs
from telemetry.measure.resistance import measure_resistances
from telemetry.measure.servos import measure_servos
from telemetry.measure.sharing import sharing_of
from telemetry.measure.states import Drawn, pack_states
from telemetry.measure.steps import path_steps
from telemetry.measure.supply.capacity import pack_capacities
from telemetry.measure.supply.drops import load_drops
from telemetry.measure.supply.knees import find_knees
from telemetry.measure.supply.twins import pack_twins
from telemetry.model.channels import Channel
from telemetry.model.log import Log
from telemetry.model.unsettled import unsettled_supplies
from telemetry.readings import Readings, take_readings
from telemetry.results import Flight, FrozenCurrent, Quality, Review


def review(log: Log, aircraft: Aircraft | None = None, drawn: Drawn | None = None) -> Review:
    """Review one log: quality, phases, stirs, events, resistances, charge, margins, findings.

    Parameters
    ----------
    log : Log
        As given by :func:`telemetry.read_log`; it is not altered.
    aircraft : Aircraft, optional
        The profile; nodes of the log that it does not list are added. Without one the path is
        read from the places of the log, with the default limits.
    drawn : Drawn, optional
        What the book knows of the packs' charge before this log.

    Returns
    -------
    Review
        With one Flight record per flight; a log without a flight has one of kind "bench".
    """
    craft = infer_path(log) if aircraft is None else completed_from(log, aircraft.on(_day(log)))
    readings = take_readings(log, craft.limits, craft)
    quality = judge_quality(log, readings, craft)
    columns = columns_used(log, readings)
    drawn = drawn or Drawn()
    flights: list[Flight] = []
    parts = find_parts(log, readings, craft, craft.limits)
    stood = [frozen_currents(readings.within(p.start_s, p.end_s), craft, p.phases) for p in parts]
    readings = without_frozen(readings, [f for each in stood for f in each])
    for part, frozen in zip(parts, stood, strict=True):
        flights.append(_flight(part, readings, quality, craft, drawn, frozen))
        drawn = drawn.then(flights[-1].packs)
    judged = judge_log(
        aircraft=craft,
        columns=columns,
        quality=quality,
        flights=tuple(flights),
        unsettled=unsettled_supplies(with_values(log), craft.kind),
    )
    return Review(
        log=log,
        readings=readings,
        aircraft=craft,
        limits=craft.limits,
        columns=columns,
        quality=quality,
        flights=tuple(flights),
        findings=judged.findings,
        checks=judged.outcomes,
    )


def with_values(log: Log) -> dict[int, Channel]:
    """The channels that hold more than zeros, by their column's number, from 1."""
    return {
        number: c
        for number, c in enumerate(log.channels, 1)
        if c.key in log.frame.columns and (np.abs(log.values(c.key)) > 0.0).any()
    }


def _day(log: Log) -> date | None:
    start = log.provenance.start
    return None if start is None else date.fromisoformat(start[:10])


def _flight(
    part: FlightPart,
    everything: Readings,
    quality: Quality,
    craft: Aircraft,
    drawn: Drawn,
    frozen: tuple[FrozenCurrent, ...],
) -> Flight:
    readings = everything.within(part.start_s, part.end_s)
    limits, phases = craft.limits, part.phases
    floors = pack_floors(readings, craft)
    outs = pack_outs(readings, craft, phases)
    sharing = sharing_of(readings, craft, phases, outs)
    resistances = measure_resistances(readings, craft, phases, outs)
    found = without_switching(
        find_voltage_events(readings, phases, craft, limits, floors),
        quality.restarts,
        readings,
        craft,
    )
    falls = place_events(found, readings, craft, resistances)
    brownouts = find_brownouts(readings, phases, falls, quality.restarts, craft)
    spikes = find_spikes(readings, phases, limits)
    events = tuple(sorted((*falls, *brownouts, *spikes), key=lambda e: (e.start_s, e.place)))
    charge = measure_charge(readings, craft, phases, sharing)
    measured = measured_in(phases, readings, craft, sharing)
    found_margins = margins(craft, resistances, measured)
    states = pack_states(readings, craft, phases, charge, sharing, drawn)
    unusual, watched = unusual_currents(readings, craft, phases, frozen)
    return Flight(
        kind=part.kind,
        start_s=part.start_s,
        end_s=part.end_s,
        phases=phases,
        stirs=measure_stirs(readings, craft, phases, limits.gap_s),
        events=events,
        resistances=resistances,
        charge=charge,
        margins=found_margins,
        low=low_supplies(readings, craft, phases, outs, floors),
        levels=supply_levels(readings, craft, floors),
        servos=measure_servos(readings, craft, phases) or check_shares(readings, craft, phases),
        packs=states,
        capacities=pack_capacities(states, craft),
        pack_outs=outs,
        path_steps=path_steps(readings, craft, outs),
        drops=load_drops(readings, craft, phases, resistances),
        twins=pack_twins(readings, craft, phases, outs),
        droops=find_droops(readings, craft, phases, outs),
        knees=find_knees(readings, craft, phases, resistances, falls),
        loads=place_loads(measured, craft.root),
        parts=part_loads(craft, measured, found_margins),
        unusual=unusual,
        watched=watched,
        frozen=frozen,
        lead_changes=lead_changes(readings, craft, phases, resistances),
        drop_ratios=drop_ratios(readings, craft, phases),
    )
