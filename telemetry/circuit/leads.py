"""Each lead: its resistance, measured and expected, and what a thicker wire would bring."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from telemetry.aircraft import Aircraft, Lead, Node, Pack, Supply
from telemetry.aircraft.wire import compare, lead_mohm, section_mm2
from telemetry.circuit.budget_records import LeadBudget, Thicker
from telemetry.circuit.currents import Currents
from telemetry.numerics.intervals import Interval
from telemetry.results import Resistance

COPPER_G_PER_CM3 = 8.89  # annealed copper at 20 degC (IEC 60028)
# Nominal cross-sections of flexible conductors, mm2 (IEC 60228), and what is sold below them.
_SECTIONS_MM2 = (0.14, 0.25, 0.34, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0)


def leads(aircraft: Aircraft) -> Iterator[tuple[str, Lead]]:
    """The leads of the profile, each with the place that it leaves or, of a node, feeds."""
    parts: list[Pack | Supply | Node] = [*aircraft.packs, *aircraft.supplies, *aircraft.nodes]
    for part in parts:
        if part.lead is not None:
            yield part.name, part.lead


def branch_measured(
    place: str, aircraft: Aircraft, resistances: Sequence[Resistance]
) -> Interval | None:
    """Measured resistance of the lead to a node, mOhm; None where it was not measured."""
    node = aircraft.node(place)
    for r in resistances:
        if node is None or r.place != place or r.kind != "branch" or r.parent != node.fed_from:
            continue
        if r.mohm is not None and r.low_mohm is not None and r.high_mohm is not None:
            return Interval(r.mohm, min(r.low_mohm, r.mohm), max(r.high_mohm, r.mohm))
    return None


def lead_budget(
    place: str, lead: Lead, measured: Interval | None, currents: Currents
) -> LeadBudget:
    """One lead, by its measured resistance where there is one, at the worst current."""
    expected = lead_mohm(lead)
    worst, _ = currents.worst(place)
    comparison = None if measured is None else compare(measured, expected)
    own = expected if measured is None else measured
    return LeadBudget(
        place=place,
        wire=wire_words(lead),
        length_m=lead.length_m,
        expected_mohm=expected,
        measured_mohm=measured,
        excess_mohm=None if comparison is None else comparison.excess_mohm,
        differs=None if comparison is None else comparison.differs,
        worst_drop_v=None if worst is None else worst * own.value / 1000,
        thicker=tuple(thicker_wires(lead, expected, worst)),
    )


def wire_words(lead: Lead) -> str:
    """The wire as in "2 x AWG 14"."""
    gauge = f"AWG {lead.awg}" if lead.awg is not None else f"{lead.mm2:g} mm2"
    return gauge if lead.wires == 1 else f"{lead.wires} x {gauge}"


def thicker_wires(lead: Lead, expected: Interval, worst_a: float | None) -> Iterator[Thicker]:
    """The next two usual sizes: even gauges, or nominal sections."""
    before_mm2 = section_mm2(lead)
    if lead.awg is not None:
        sizes = [("awg", float(awg)) for awg in (lead.awg - 2, lead.awg - 4) if awg >= 0]
    else:
        sizes = [("mm2", mm2) for mm2 in _SECTIONS_MM2 if mm2 > before_mm2][:2]
    for key, size in sizes:
        other = Lead.model_validate({**lead.model_dump(), key: size})
        mohm = lead_mohm(other)
        gain = None if worst_a is None else worst_a * (expected.value - mohm.value) / 1000
        more_mm2 = lead.wires * (section_mm2(other) - before_mm2)
        yield Thicker(
            wire=wire_words(other),
            mohm=mohm,
            gain_v=gain,
            # One metre of one square millimetre is one cubic centimetre; out and back.
            grams=COPPER_G_PER_CM3 * 2 * lead.length_m * more_mm2,
        )
