"""All flights of one aircraft judged together by the list of checks, and replayed in order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from telemetry.aircraft import Aircraft, completed
from telemetry.checks.aircraft_history import AircraftHistory, JudgedAcross
from telemetry.checks.causes.across_signs import AcrossFacts
from telemetry.checks.causes.across_table import TABLE_ACROSS
from telemetry.checks.causes.consequences import with_consequences
from telemetry.checks.causes.ranking import ranked
from telemetry.checks.draft import FindingDraft
from telemetry.checks.listed import CHECKS, CODES, not_yet_called
from telemetry.checks.lives import lives_of
from telemetry.checks.outcomes import outcomes_across
from telemetry.checks.servos.across import loads_of
from telemetry.checks.supply.held import held_part
from telemetry.checks.tree import left_out, root_of
from telemetry.model.log import FloatArray
from telemetry.results import Feature, Finding, Fleet, History, HistoryFlight, NoteMark
from telemetry.trends.features.voltages import TOTAL
from telemetry.trends.fleet import OwnScatter, own_scatter
from telemetry.trends.measures import Measures
from telemetry.trends.table import FeatureTable


def judge(
    flights: Sequence[Measures],
    notes: Sequence[NoteMark] = (),
    aircraft: Aircraft | None = None,
    *,
    name: str = "",
    listed: Sequence[HistoryFlight] | None = None,
) -> History:
    """What the flights of one aircraft tell together now, from their measures and its notes.

    How long a finding stays open is told by :func:`replay`.

    Parameters
    ----------
    flights : sequence of Measures
        In time order.
    notes : sequence of NoteMark
        ``before`` counts flights of this sequence.
    aircraft : Aircraft, optional
        The profile; without one the places are compared by their names, with default limits.
    name : str
        Of the aircraft.
    listed : sequence of HistoryFlight, optional
        How the flights are named, in the same order; numbered from 1 otherwise.

    Returns
    -------
    History
        Findings, worst first; every one since which flight, by how much, how sure.
    """
    history, judged, findings = _judged(flights, notes, aircraft, listed)
    return _history(history, judged, findings, name, aircraft)


def replay(
    flights: Sequence[Measures],
    notes: Sequence[NoteMark] = (),
    aircraft: Aircraft | None = None,
    *,
    name: str = "",
    listed: Sequence[HistoryFlight] | None = None,
    together: Sequence[Sequence[Finding]] | None = None,
    table: FeatureTable | None = None,
    fleet: Fleet | None = None,
) -> History:
    """The flights and notes of one aircraft in their order: each finding opened and closed.

    Parameters
    ----------
    flights, notes, aircraft, name, listed
        As of :func:`judge`.
    together : sequence of sequences of Finding, optional
        Of each flight what :func:`together_at` gives, where that is known.
    table : FeatureTable, optional
        Of these flights.
    fleet : Fleet, optional
        What other aircraft tell of the scatter.

    Returns
    -------
    History
        Open findings first, the worst first, then closed ones.
    """
    history, judged, _ = _judged(flights, notes, aircraft, listed, table, fleet)
    if together is None:
        at = partial(together_at, table=history.table, fleet=fleet)
        every = range(len(flights))
        together = [at(k, flights, notes, aircraft, history.listed) for k in every]
    lives = lives_of(flights, history.listed, notes, history.aircraft, together)
    return _history(history, judged, lives, name, aircraft)


def together_at(
    flight: int,
    flights: Sequence[Measures],
    notes: Sequence[NoteMark],
    aircraft: Aircraft | None,
    listed: Sequence[HistoryFlight],
    table: FeatureTable | None = None,
    fleet: Fleet | None = None,
) -> tuple[Finding, ...]:
    """What the flights up to one, by its index, tell together, with the notes before it.

    Where several flights are asked for, ``table`` is that of all of them: what a flight tells by
    itself is then worked out once.
    """
    end = flight + 1
    known = [n for n in notes if n.before < end]
    part = None if table is None else table.until(end)
    return tuple(_judged(flights[:end], known, aircraft, listed[:end], part, fleet)[2])


def scatters_of(
    flights: Sequence[Measures], notes: Sequence[NoteMark], aircraft: Aircraft | None
) -> tuple[OwnScatter, ...]:
    """How each feature of each place scatters from flight to flight, apart from lasting changes.

    Parameters
    ----------
    flights, notes, aircraft
        As of :func:`judge`.
    """
    history, _, _ = _judged(flights, notes, aircraft, None)
    charts: dict[tuple[str, str, float], OwnScatter] = {}
    # A part stands in a chart of its rise and one of its fall: of one with a change it is known.
    for place, part, change in sorted(history.charted, key=lambda one: one[2] is None):
        found = own_scatter(part, change)
        if found is not None:
            charts.setdefault((place, part.name, part.sigma), found)
    return tuple(charts.values())


def _judged(
    flights: Sequence[Measures],
    notes: Sequence[NoteMark],
    aircraft: Aircraft | None,
    listed: Sequence[HistoryFlight] | None,
    table: FeatureTable | None = None,
    fleet: Fleet | None = None,
) -> tuple[AircraftHistory, JudgedAcross, list[Finding]]:
    """What is judged, what all checks make of it, and the findings with their causes."""
    craft = Aircraft() if aircraft is None else aircraft
    table = FeatureTable(flights) if table is None else table
    complete = completed(craft, *(_in_all(table, what) for what in ("volts", "amps")))
    history = AircraftHistory(
        flights=flights,
        listed=tuple(
            [listed_as(k, m) for k, m in enumerate(flights, 1)] if listed is None else listed
        ),
        notes=tuple(notes),
        aircraft=complete,
        charts=charts_at(table, complete),
        table=table,
        fleet=fleet,
    )
    if held_part(history, root_of(history) or "bus") is not None:
        history = replace(history, charts=history.charts + 2)  # it may fall, and rise
    judged = _by_all_checks(history) if flights else JudgedAcross()
    seen = AcrossFacts(history=history, drafts=judged.drafts)
    return history, judged, [_with_causes(draft, seen) for draft in judged.drafts]


def _history(
    history: AircraftHistory,
    judged: JudgedAcross,
    findings: Sequence[Finding],
    name: str,
    aircraft: Aircraft | None,
) -> History:
    """The record of it; what follows from an open finding stands beneath it."""
    craft = Aircraft() if aircraft is None else aircraft
    opened = with_consequences([f for f in findings if f.state == "open"], history.aircraft)
    return History(
        name=name or craft.name,
        aircraft=craft,
        flights=tuple(history.listed),
        notes=tuple(history.notes),
        features=tuple(
            Feature(
                flight=row.id,
                place=f.place,
                feature=f.feature,
                value=f.value,
                unit=f.unit,
                low=f.low,
                high=f.high,
            )
            for row, m in zip(history.listed, history.flights, strict=True)
            for f in m.features
        ),
        trends=tuple(t.record() for t in judged.trends),
        findings=(*opened, *(f for f in findings if f.state == "closed")),
        not_judged=tuple(dict.fromkeys(u.why for u in judged.not_judged)),
        checks=outcomes_across(CHECKS, judged, opened),
        fleet=history.fleet,
    )


def _with_causes(draft: FindingDraft, facts: AcrossFacts) -> Finding:
    """The finding, its causes ranked by what the flights show."""
    words = CODES[draft.code].words_across
    causes, ranks = ranked(draft.possible(words), draft, facts, TABLE_ACROSS)
    return replace(
        draft.finding(words),
        causes=causes,
        ranked=ranks,
        explanations=tuple(c.cause for c in causes),
    )


def _by_all_checks(history: AircraftHistory) -> JudgedAcross:
    """What the functions of the list judge, each called once, in the order of the list."""
    judged = JudgedAcross()
    called: set[object] = set()
    for check in CHECKS:
        for across in not_yet_called(check.across, called):
            judged.add(across(history))
    judged.not_judged += left_out(history)
    return judged


def _in_all(table: FeatureTable, what: str) -> dict[str, FloatArray]:
    """Voltages or currents of each place in the stretches of all flights; rows belong together."""
    places = table.voltage_places if what == "volts" else table.current_places
    return {
        p: np.concatenate([table.row_of_stretches(part, what, p) for part in ("stir", "air")])
        for p in places
        if p != TOTAL
    }


def listed_as(number: int, m: Measures) -> HistoryFlight:
    """A flight as a history lists it, by its number, where no book gives it an id."""
    return HistoryFlight(
        id=str(number),
        start=m.start,
        file=m.file,
        kind=m.kind,
        duration_s=m.duration_s,
        flight_s=m.flight_s,
        verdict=m.verdict,
        codes=m.codes,
    )


def charts_at(table: FeatureTable, aircraft: Aircraft) -> int:
    """How many charts share the false alarms: each place's currents, leads, packs and counters."""
    # Rise, silence, heating, and rest up and down of each; a rise, or a rise and a fall, of each
    # other feature.
    sides = {"branch_mohm": 1, "apparent_mohm": 1, "source_mohm": 1, "offset_v": 2, "share": 2}
    sides |= {"counter_ratio": 2, "end_v": 1, "falls": 2, "capacity_mah": 1}
    loads = 5 * len(loads_of(table, aircraft))
    balance = 2 if loads else 0
    return max(1, loads + balance + sum(sides.get(feature, 0) for _, feature in table.measured))
