"""What the wiring and the packs can carry: predicted against measured, and against limits.

With a flight's measurements the budget shows what was drawn; without any it is a design: packs at
nominal voltage, resistances from the profile and the wire table, currents from the servos' own.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from telemetry.aircraft import CELL_V, Aircraft, Connector, Lead, Node, Pack, Supply
from telemetry.power.circuit import Circuit
from telemetry.power.intervals import Interval, propagate
from telemetry.power.known import TOTAL, Measured
from telemetry.power.margins import CASES, margins, worked_out
from telemetry.power.wire import area_mm2, compare, lead_mohm
from telemetry.results import Margin, PartLoad, Resistance, WorstCase

COPPER_G_PER_CM3 = 8.89  # annealed copper at 20 degC (IEC 60028)
# Nominal cross-sections of flexible conductors, mm2 (IEC 60228), and what is sold below them.
_SECTIONS_MM2 = (0.14, 0.25, 0.34, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0)
# Two voltage sensors at rest on one supply may differ by this much (ours: half a percent of 8 V).
_SENSORS_V = 0.04


@dataclass(frozen=True, slots=True, kw_only=True)
class Thicker:
    """What a thicker wire of the same length would bring.

    Attributes
    ----------
    wire : str
        "AWG 14" or "2.5 mm2".
    mohm : Interval
        Of the lead with it, connectors as they are.
    gain_v : float or None
        Higher voltage at the worst current; None where no current is known.
    grams : float
        More copper.
    """

    wire: str
    mohm: Interval
    gain_v: float | None
    grams: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadBudget:
    """One lead: its resistance and what a thicker wire would bring.

    Attributes
    ----------
    place : str
        The node it feeds, or the pack or supply it leaves.
    wire : str
    length_m : float
        One way.
    expected_mohm : Interval
        From the wire table.
    measured_mohm, excess_mohm : Interval or None
        Measured, and measured minus expected; None where it was not measured (of packs and
        supplies the lead alone never is).
    differs : bool or None
        Whether measured and expected surely differ.
    worst_drop_v : float or None
        Drop at the worst current, by the measured resistance where there is one.
    thicker : tuple of Thicker
        The next two sizes.
    """

    place: str
    wire: str
    length_m: float
    expected_mohm: Interval
    measured_mohm: Interval | None
    excess_mohm: Interval | None
    differs: bool | None
    worst_drop_v: float | None
    thicker: tuple[Thicker, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceBudget:
    """Predicted against measured voltage at a place.

    Attributes
    ----------
    place : str
    predicted_v : Interval or None
        At the mean load before landing: what the feeding place measured, less the expected
        resistance times the place's current. Of a design: with all servos moving, the packs at
        nominal voltage; its interval goes from packs at their floor to full ones, as do those of
        its cases.
    measured_v : Interval or None
        What was read there over the same stretch.
    differs : bool or None
        Whether the two surely differ, by more than two sensors may.
    lowest_v : float or None
    restart_v : float
    cases : tuple of WorstCase
    """

    place: str
    predicted_v: Interval | None
    measured_v: Interval | None
    differs: bool | None
    lowest_v: float | None
    restart_v: float
    cases: tuple[WorstCase, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """The whole budget; plain records of numbers and words, ready for JSON.

    Attributes
    ----------
    aircraft : str
    basis : str
        "measured", or "design" where it rests on the profile alone.
    places : tuple of PlaceBudget
    leads : tuple of LeadBudget
    parts : tuple of PartLoad
    """

    aircraft: str
    basis: str
    places: tuple[PlaceBudget, ...]
    leads: tuple[LeadBudget, ...]
    parts: tuple[PartLoad, ...]


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
        resistances = (*resistances, *_design_resistances(aircraft))
        found = margins(aircraft, resistances, measured)
        places = _designed(found, aircraft, resistances)
    else:
        basis = "measured"
        found = margins(aircraft, resistances, measured)
        places = tuple(_place(m, aircraft, measured) for m in found)
    currents = _Currents(aircraft, measured, found)
    return Budget(
        aircraft=aircraft.name,
        basis=basis,
        places=places,
        leads=tuple(
            _lead(place, lead, _branch(place, aircraft, resistances), currents)
            for place, lead in _leads(aircraft)
        ),
        parts=tuple(_parts(aircraft, currents)),
    )


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
    return tuple(_parts(aircraft, _Currents(aircraft, measured, found)))


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
        if place is not None and (a := _moving_a(place, aircraft)) is not None
    }
    if root is not None and root in moving:
        moving[TOTAL] = moving[root]
    return Measured(
        landing_v=volts,
        landing_a=amps,
        usual_a={place: x.value for place, x in moving.items()},
        peak_a=moving,
    )


def _moving_a(place: str, aircraft: Aircraft, above: frozenset[str] = frozenset()) -> float | None:
    """Current of all servos of a place and below, moving; None where one is not told."""
    own = [None if s.moving_a is None else s.count * s.moving_a for s in aircraft.servos_at(place)]
    below = [
        _moving_a(child, aircraft, above | {place})
        for child in aircraft.children(place)
        if child not in above
    ]
    total = 0.0
    for part in (*own, *below):
        if part is None:
            return None
        total += part
    return total if own or below else None


def _design_resistances(aircraft: Aircraft) -> Iterator[Resistance]:
    """Of a regulated root: that of its regulators, none where the profile tells none."""
    root = aircraft.root
    if root is None or aircraft.regulated_v is None:
        return
    supplies = [s for name in aircraft.feeders(root) if (s := aircraft.supply(name)) is not None]
    siemens = sum(1e3 / s.resistance_mohm for s in supplies if s.resistance_mohm)
    mohm = 1e3 / siemens if siemens else 0.0
    yield Resistance(
        kind="source",
        place=root,
        mohm=mohm,
        low_mohm=mohm,
        high_mohm=mohm,
        updates=0,
        method="from the profile",
    )


class _Currents:
    """Usual and worst current through each place."""

    def __init__(
        self,
        aircraft: Aircraft,
        measured: Measured,
        found: Sequence[Margin],
    ) -> None:
        self._aircraft = aircraft
        self._share = measured.share
        self._root = aircraft.root or ""
        self._usual = {self._own_name(p): amps for p, amps in measured.usual_a.items()}
        # The observed peak is known even where a case built on it has no voltage.
        self._cases: dict[str, dict[str, float]] = {
            self._own_name(place): {"observed": amps.value}
            for place, amps in measured.peak_a.items()
        }
        for m in found:
            cases = self._cases.setdefault(m.place, {})
            cases |= {c.case: c.current_a for c in m.cases if c.current_a is not None}

    def _own_name(self, place: str) -> str:
        return self._root if place == TOTAL else place

    def usual(self, place: str) -> float | None:
        """Highest mean over a minute, A; of a design that of all servos moving."""
        if place in self._usual:
            return self._usual[place]
        part, whole = self._part_of_root(place), self._usual.get(self._root)
        return None if part is None or whole is None else part * whole

    def worst(self, place: str) -> tuple[float | None, str]:
        """Highest current of the cases and its name; with a pack lost another carries it alone."""
        cases = dict(self._cases.get(place, {}))
        if self._feeds_root(place):
            part = self._part_of_root(place)
            for case, amps in self._cases.get(self._root, {}).items():
                carried = 1.0 if case == "pack-lost" else part
                if carried is not None:
                    cases.setdefault(case, carried * amps)
        if not cases:
            return None, ""
        case = max(cases, key=lambda c: cases[c])
        return cases[case], case

    def _feeds_root(self, place: str) -> bool:
        return place != self._root and bool(self._aircraft.way_up(self._root, place))

    def _part_of_root(self, place: str) -> float | None:
        """Share of the total that flows through a pack or supply; None where not known."""
        if not self._feeds_root(place):
            return None
        packs = [p.name for p in self._aircraft.packs]
        through = [p for p in packs if self._aircraft.way_up(place, p)]
        if len(through) == len(packs):
            return 1.0
        shares = [self._share[p].value for p in through if p in self._share]
        return sum(shares) if len(shares) == len(through) else None


def _leads(aircraft: Aircraft) -> Iterator[tuple[str, Lead]]:
    parts: list[Pack | Supply | Node] = [*aircraft.packs, *aircraft.supplies, *aircraft.nodes]
    for part in parts:
        if part.lead is not None:
            yield part.name, part.lead


def _branch(place: str, aircraft: Aircraft, resistances: Sequence[Resistance]) -> Interval | None:
    """Measured resistance of the lead to a node."""
    node = aircraft.node(place)
    for r in resistances:
        if node is None or r.place != place or r.kind != "branch" or r.parent != node.fed_from:
            continue
        if r.mohm is not None and r.low_mohm is not None and r.high_mohm is not None:
            return Interval(r.mohm, min(r.low_mohm, r.mohm), max(r.high_mohm, r.mohm))
    return None


def _lead(place: str, lead: Lead, measured: Interval | None, currents: _Currents) -> LeadBudget:
    expected = lead_mohm(lead)
    worst, _ = currents.worst(place)
    comparison = None if measured is None else compare(measured, expected)
    own = expected if measured is None else measured
    return LeadBudget(
        place=place,
        wire=_wire(lead),
        length_m=lead.length_m,
        expected_mohm=expected,
        measured_mohm=measured,
        excess_mohm=None if comparison is None else comparison.excess_mohm,
        differs=None if comparison is None else comparison.differs,
        worst_drop_v=None if worst is None else worst * own.value / 1000,
        thicker=tuple(_thicker(lead, expected, worst)),
    )


def _wire(lead: Lead) -> str:
    gauge = f"AWG {lead.awg}" if lead.awg is not None else f"{lead.mm2:g} mm2"
    return gauge if lead.wires == 1 else f"{lead.wires} x {gauge}"


def _thicker(lead: Lead, expected: Interval, worst_a: float | None) -> Iterator[Thicker]:
    """The next two usual sizes: even gauges, or nominal sections."""
    if lead.awg is not None:
        before = area_mm2(lead.awg)
        sizes = [("awg", float(awg)) for awg in (lead.awg - 2, lead.awg - 4) if awg >= 0]
    else:
        before = float(lead.mm2 or 0.0)
        sizes = [("mm2", mm2) for mm2 in _SECTIONS_MM2 if mm2 > before][:2]
    for key, size in sizes:
        other = Lead.model_validate({**lead.model_dump(), key: size})
        after = area_mm2(other.awg) if other.awg is not None else float(other.mm2 or 0.0)
        mohm = lead_mohm(other)
        gain = None if worst_a is None else worst_a * (expected.value - mohm.value) / 1000
        yield Thicker(
            wire=_wire(other),
            mohm=mohm,
            gain_v=gain,
            # One metre of one square millimetre is one cubic centimetre; out and back.
            grams=COPPER_G_PER_CM3 * 2 * lead.length_m * lead.wires * (after - before),
        )


def _parts(aircraft: Aircraft, currents: _Currents) -> Iterator[PartLoad]:
    for place, lead in _leads(aircraft):
        yield _part(place, "wire", _wire(lead), lead.limit_a, "profile", currents)
        for number, plug in enumerate(lead.connectors, 1):
            pin_a, source = _pin_a(plug, aircraft)
            what = f"{plug.pins} pin{'s' if plug.pins > 1 else ''} of {pin_a:g} A"
            yield _part(place, f"connector {number}", what, plug.pins * pin_a, source, currents)
    for supply in aircraft.supplies:
        yield _part(supply.name, supply.kind, supply.name, supply.limit_a, "profile", currents)


def _pin_a(plug: Connector, aircraft: Aircraft) -> tuple[float, str]:
    if plug.pin_a is not None:
        return plug.pin_a, "profile"
    limits = aircraft.limits
    return (limits.panel_pin_a if plug.kind == "panel" else limits.pin_a), "default"


def _part(
    place: str, part: str, what: str, limit_a: float | None, source: str, currents: _Currents
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
        cases=margin.cases,
    )


def _designed(
    nominal: Sequence[Margin], aircraft: Aircraft, resistances: Sequence[Resistance]
) -> tuple[PlaceBudget, ...]:
    """Voltages with the packs at nominal, their intervals from packs at their floor to full ones.

    All packs are low or full together, which intervals of each by itself would not say.
    """
    circuits = [
        Circuit(aircraft, resistances, design_state(aircraft, charge))
        for charge in ("nominal", "floor", "full")
    ]
    out = []
    for margin in nominal:
        all_packs, *cases = (
            _over_charge(*(worked_out(name, margin.place, c) for c in circuits))
            for name in ("all-packs", *CASES)
        )
        known = (all_packs.voltage_v, all_packs.low_v, all_packs.high_v)
        out.append(
            PlaceBudget(
                place=margin.place,
                predicted_v=None if None in known else Interval(*(float(v or 0.0) for v in known)),
                measured_v=None,
                differs=None,
                lowest_v=None,
                restart_v=margin.restart_v,
                cases=tuple(cases),
            )
        )
    return tuple(out)


def _over_charge(nominal: WorstCase, floor: WorstCase, full: WorstCase) -> WorstCase:
    return replace(nominal, low_v=floor.low_v, high_v=full.high_v)


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
