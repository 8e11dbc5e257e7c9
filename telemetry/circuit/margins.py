"""How far each place stays above its restart level: as observed, and in three worst cases.

(a) "pack-lost": one shared pack is lost and the others carry the highest current observed;
(b) "return-level": the current reaches the level expected once in many flights;
(c) "all-stalled": all servos of the profile are stalled at once, each a resistance.

Each case starts from the state at landing, when the packs are lowest: the mean voltage and current
of every place there. From that point the voltage is carried along measured resistances to the
current of the case. (a) asks what this flight would have seen: where a place stayed above what the
state at landing lets expect of the same peak, it is put so much higher. What a resistance does not
tell (a lead's, from the wire table; a regulator's drop-out) is taken from the profile and said in
the note. A load falls with its voltage, all of it or none: the interval holds both, the value lies
midway. Intervals follow from those of all inputs by :func:`telemetry.numerics.intervals.propagate`.
Where something needed is not known, there is no voltage, and the note says what is missing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from telemetry.aircraft import Aircraft, Limits
from telemetry.circuit.known import Measured
from telemetry.circuit.worst_cases import Circuit, CircuitCase, Missing, Numbers
from telemetry.measure.supply.nearness import near_restart
from telemetry.numerics.intervals import Interval, propagate
from telemetry.results import Level, Margin, Resistance, WorstCase

CASES = ("pack-lost", "return-level", "all-stalled")


def margins(
    aircraft: Aircraft, resistances: Sequence[Resistance], measured: Measured
) -> tuple[Margin, ...]:
    """Observed margin and the three worst cases at every place with electronics.

    Parameters
    ----------
    aircraft : Aircraft
        As of the day of the flight (:meth:`Aircraft.on`).
    resistances : sequence of Resistance
        Of the same flight; refused ones count as not known.
    measured : Measured

    Returns
    -------
    tuple of Margin
        The root of the path and all nodes, with or without a voltage in the log; each with all
        three cases. Packs only where a pack is the root.
    """
    circuit = Circuit(aircraft, resistances, measured)
    root = circuit.root
    nodes = [n.name for n in aircraft.nodes]
    packs = {p.name for p in aircraft.packs}
    named = [root] if root is not None else []
    others = [p for p in measured.lowest_v if p not in packs]
    places = tuple(dict.fromkeys([*named, *nodes, *others]))
    cases = [worked_out(name, places, circuit) for name in CASES]
    return tuple(_margin(place, circuit, tuple(c[place] for c in cases)) for place in places)


def _margin(place: str, circuit: Circuit, cases: tuple[WorstCase, ...]) -> Margin:
    lowest = circuit.measured.lowest_v.get(place)
    restart = circuit.aircraft.restart_v(place)
    return Margin(
        place=place,
        lowest_v=lowest,
        restart_v=restart,
        observed_v=None if lowest is None else lowest - restart,
        comfort_v=circuit.measured.comfort_v.get(place),
        cases=cases,
    )


def case_level(
    case: WorstCase, restart_v: float, comfort_v: float | None, limits: Limits
) -> Level | None:
    """What the voltage of a worst case calls for, by the limits of the review.

    Parameters
    ----------
    case : WorstCase
    restart_v, comfort_v : float, float or None
        Of its place, V.
    limits : Limits

    Returns
    -------
    Level or None
        As ``near_restart`` says, and WATCH below the comfortable supply. None without a voltage,
        and for servos all stalled at once, which is for design only.
    """
    near = near_restart(case, restart_v, limits)
    if near is None or case.voltage_v is None or case.case == "all-stalled":
        return None
    uncomfortable = comfort_v is not None and case.voltage_v < comfort_v
    return Level.WATCH if near is Level.CLEAR and uncomfortable else near


def worked_out(name: str, places: Sequence[str], circuit: Circuit) -> dict[str, WorstCase]:
    """One case at each place; without a voltage, and with the reason, where something is missing.

    What is missing is so whatever the numbers: the intervals are asked of the places left.
    """
    centre = {key: x.value for key, x in circuit.inputs.items()}
    out: dict[str, WorstCase] = {}
    try:
        case = circuit.case(name)
        at = case.volts(centre)
    except Missing as missing:
        return dict.fromkeys(places, _unknown(name, missing))
    for place in places:
        try:
            at(place)
        except Missing as missing:
            out[place] = _unknown(name, missing)
    known = [p for p in places if p not in out]

    def volts(x: Numbers) -> dict[str, float]:
        at = case.volts(x)
        return {place: max(at(place), 0.0) for place in known}

    for place, found in propagate(volts, circuit.inputs).items():
        out[place] = _known(name, case, place, found, centre, circuit)
    return out


def _unknown(name: str, missing: Missing) -> WorstCase:
    return WorstCase(
        case=name, current_a=None, voltage_v=None, low_v=None, high_v=None, note=str(missing)
    )


def _known(
    name: str,
    case: CircuitCase,
    place: str,
    volts: Interval,
    centre: Numbers,
    circuit: Circuit,
) -> WorstCase:
    notes = [case.note, *circuit.notes_on(place)]
    low = max(volts.low, 0.0)
    lowest = circuit.measured.lowest_v.get(place)
    if lowest is not None and lowest < low:
        # No loss and no higher load raises a voltage: whatever pulled it down can come again.
        low = lowest
        notes.append("a lower reading was seen, which the load does not explain")
    aircraft = circuit.aircraft
    found = WorstCase(
        case=name,
        current_a=case.amps(centre, place),
        voltage_v=volts.value,
        low_v=low,
        high_v=volts.high,
        note="; ".join(n for n in notes if n),
    )
    restart_v, comfort_v = aircraft.restart_v(place), circuit.measured.comfort_v.get(place)
    return replace(found, level=case_level(found, restart_v, comfort_v, aircraft.limits))
