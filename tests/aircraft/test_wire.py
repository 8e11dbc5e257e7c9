"""Expected lead resistances against the published copper tables."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Connector, Lead
from telemetry.aircraft.wire import ampacity_a, area_mm2, branch_mohm, compare, lead_mohm, ohm_per_m
from telemetry.numerics.intervals import Interval

AT_20 = Interval.exact(20.0)

# Gauge, diameter mm and Ohm per 1000 ft of solid annealed copper at 20 degC as printed in the
# classic wire table of the National Bureau of Standards (Circular 31, later Handbook 100; the
# attribution from memory), read at hyperphysics.phy-astr.gsu.edu/hbase/tables/wirega.html.
NBS_OHM_PER_1000_FT = {
    8: 0.6282, 9: 0.7921, 10: 0.9989, 11: 1.26, 12: 1.588, 13: 2.003, 14: 2.525, 15: 3.184,
    16: 4.016, 17: 5.064, 18: 6.385, 19: 8.051, 20: 10.15, 21: 12.8, 22: 16.14, 23: 20.36,
    24: 25.67, 25: 32.37, 26: 40.81, 27: 51.47, 28: 64.9, 29: 81.83, 30: 103.2,
}  # fmt: skip

# IEC 60228 class 5, highest resistance at 20 degC, plain copper, Ohm/km, by nominal mm2; read at
# mycableengineering.com and uecables.com, which agree.
CLASS_5_MAX = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30}
# IEC 60228 class 1 and 2, the same way (mycableengineering.com).
CLASS_1_MAX = {0.5: 36.0, 0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08}


@pytest.mark.parametrize(("awg", "printed"), NBS_OHM_PER_1000_FT.items())
def test_gauge_table(awg: int, printed: float) -> None:
    # Printed to four figures at best: 5e-4 of the value covers its rounding.
    assert ohm_per_m(area_mm2(awg)) * 304.8 == pytest.approx(printed, rel=5e-4)


@pytest.mark.parametrize(
    ("awg", "mm2"), [(36, 0.0126677), (0, 53.4751), (10, 5.26115), (16, 1.30870), (24, 0.20473)]
)
def test_sections_follow_the_two_end_points_of_the_gauge(awg: int, mm2: float) -> None:
    # ASTM B258: No. 36 is 0.005 in; ten sizes are a ratio of 10.1641410 in area.
    assert area_mm2(awg) == pytest.approx(mm2, rel=1e-4)
    assert area_mm2(awg) / area_mm2(awg + 10) == pytest.approx(10.1641410, rel=1e-8)


@pytest.mark.parametrize(
    ("celsius", "ratio"), [(0, 0.9214), (20, 1.0), (40, 1.0786), (60, 1.1572), (85, 1.25545)]
)
def test_temperature(celsius: float, ratio: float) -> None:
    # IEC 60028: 0.00393 per K from 20 degC.
    assert ohm_per_m(1.0, celsius) / ohm_per_m(1.0) == pytest.approx(ratio, rel=1e-5)


# Voltage drop of a 1.2 m cable, supply and return, at 8 A: computed by hand from the tables above
# (2.4 m of conductor): at 20 degC solid, at 60 degC solid, at 20 degC with the 2 % for stranding.
@pytest.mark.parametrize(
    ("awg", "solid_v", "warm_v", "stranded_v"),
    [
        (12, 0.10005, 0.11577, 0.10205),
        (14, 0.15908, 0.18409, 0.16226),
        (16, 0.25295, 0.29271, 0.25801),
        (18, 0.40221, 0.46543, 0.41025),
        (20, 0.63953, 0.74007, 0.65232),
        (22, 1.01690, 1.17675, 1.03723),
    ],
)
def test_voltage_drop_counts_the_way_back(
    awg: int, solid_v: float, warm_v: float, stranded_v: float
) -> None:
    solid = Lead(length_m=1.2, awg=awg, stranded=False)
    stranded = Lead(length_m=1.2, awg=awg)
    assert lead_mohm(solid, AT_20).value * 8e-3 == pytest.approx(solid_v, abs=6e-6)
    assert lead_mohm(solid, Interval.exact(60)).value * 8e-3 == pytest.approx(warm_v, abs=6e-6)
    assert lead_mohm(stranded, AT_20).value * 8e-3 == pytest.approx(stranded_v, abs=6e-6)


@pytest.mark.parametrize(("mm2", "highest"), CLASS_5_MAX.items())
def test_flexible_conductors_are_expected_below_the_standards_maximum(
    mm2: float, highest: float
) -> None:
    found = lead_mohm(Lead(length_m=50, mm2=mm2), AT_20)  # 0.1 km out and back
    per_km = [x / 100 for x in (found.low, found.value, found.high)]
    assert per_km[1] < highest, "the standard gives the highest, not the expected resistance"
    assert per_km[2] >= highest, "a lead at the standard's limit is no surprise"
    assert per_km[0] <= 1000 / 58 / mm2 <= per_km[1]


@pytest.mark.parametrize(("mm2", "highest"), CLASS_1_MAX.items())
def test_solid_wire_likewise(mm2: float, highest: float) -> None:
    found = lead_mohm(Lead(length_m=50, mm2=mm2, stranded=False), AT_20)
    assert found.value / 100 < highest <= found.high / 100


def test_each_connector_counts_twice_and_pins_share() -> None:
    bare = lead_mohm(Lead(length_m=1, awg=16))
    plugs = (Connector(contact_mohm=3.0, pins=2), Connector(contact_mohm=4.0))
    whole = lead_mohm(Lead(length_m=1, awg=16, connectors=plugs))
    assert whole.value - bare.value == pytest.approx(2 * 3.0 / 2 + 2 * 4.0)
    pair = lead_mohm(Lead(length_m=1, awg=16, wires=2))
    assert pair.value == pytest.approx(bare.value / 2)


def test_an_unknown_contact_widens_the_interval() -> None:
    known = lead_mohm(Lead(length_m=1, awg=16, connectors=(Connector(contact_mohm=5.0),)))
    unknown = lead_mohm(Lead(length_m=1, awg=16, connectors=(Connector(),)))
    assert unknown.value == known.value
    assert unknown.high - unknown.low > known.high - known.low


def test_a_branch_adds_its_parts_up_to_the_pack() -> None:
    lead = {"mm2": 1.0, "length_m": 1.0, "stranded": False}
    one = 2 * 1000 / 58
    tern = Aircraft.model_validate(
        {
            "bus": "bus",
            "packs": [{"name": "pack 1", "lead": lead}, {"name": "pack 2"}],
            "supplies": [
                {"name": "switch 1", "kind": "switch", "fed_from": ["pack 1"], "lead": lead,
                 "resistance_mohm": 7},
                {"name": "switch 2", "kind": "switch", "fed_from": ["pack 2"]},
            ],
            "nodes": [{"name": "tail", "fed_from": "bus", "lead": lead},
                      {"name": "receiver", "fed_from": "bus"}],
        }
    )  # fmt: skip

    def value(place: str, parent: str) -> float:
        found = branch_mohm(tern, place, parent, AT_20)
        assert found is not None
        return found.value

    assert value("tail", "bus") == pytest.approx(one)
    assert value("bus", "pack 1") == pytest.approx(2 * one + 7)
    assert value("tail", "pack 1") == pytest.approx(3 * one + 7)
    assert branch_mohm(tern, "bus", "pack 2") is None, "its leads are not in the profile"
    assert branch_mohm(tern, "receiver", "bus") is None
    assert branch_mohm(tern, "tail", "receiver") is None, "no way leads there"


def test_no_resistance_runs_through_a_regulator() -> None:
    tern = Aircraft.model_validate(
        {
            "bus": "bus",
            "packs": [{"name": "pack 1", "lead": {"awg": 14, "length_m": 0.3}}],
            "supplies": [{"name": "regulator", "kind": "regulator", "fed_from": ["pack 1"],
                          "set_point_v": 7.4, "lead": {"awg": 14, "length_m": 0.2}}],
        }
    )  # fmt: skip
    assert branch_mohm(tern, "bus", "pack 1") is None
    assert branch_mohm(tern, "bus", "regulator") is not None


@pytest.mark.parametrize(
    ("measured", "differs"),
    [((50, 45, 55), False), ((70, 66, 75), True), ((70, 40, 100), False), ((30, 28, 32), True)],
)
def test_measured_and_expected_are_compared_with_both_uncertainties(
    measured: tuple[float, float, float], differs: bool
) -> None:
    found = compare(Interval(*measured), Interval(50, 43, 57))
    assert found.differs is differs
    assert found.excess_mohm.value == measured[0] - 50
    assert found.ratio.value == pytest.approx(measured[0] / 50)


# A lead of 1 mm2 and 1 m, out and back: 2000 / 58 mOhm at 20 degC, solid.
BASE = 2000 / 58


def parts(*shares: float) -> float:
    """Shares that add in squares."""
    return float(sum(s**2 for s in shares)) ** 0.5


@pytest.mark.parametrize(
    ("lead", "celsius", "value", "below", "above"),
    [
        # Length 2 cm and 2 %; copper of 97 to 101 % IACS; solid up to 7.45 % above ideal.
        ({"stranded": False}, AT_20, 1.0, (0.04, 1 - 1 / 1.01), (0.04, 1 / 0.97 - 1, 0.0745)),
        # Stranded 1.02 times, from 1 to 1.1571 times ideal.
        ({}, AT_20, 1.02, (0.04, 1 - 1 / 1.01, 0.02 / 1.02),
         (0.04, 1 / 0.97 - 1, 0.1371 / 1.02)),
        # Unknown temperature: 20 K to either side at 0.393 % each.
        ({"stranded": False}, None, 1.0, (0.04, 1 - 1 / 1.01, 0.0786),
         (0.04, 1 / 0.97 - 1, 0.0745, 0.0786)),
        # Of a very short lead half the length at most: 3 cm against 2.06.
        ({"stranded": False, "length_m": 0.03}, AT_20, 0.03, (0.5, 1 - 1 / 1.01),
         (0.5, 1 / 0.97 - 1, 0.0745)),
        ({"stranded": False, "length_m": 0.05}, AT_20, 0.05, (0.42, 1 - 1 / 1.01),
         (0.42, 1 / 0.97 - 1, 0.0745)),
    ],
)  # fmt: skip
def test_interval_of_a_bare_lead_by_hand(
    lead: dict[str, float],
    celsius: Interval | None,
    value: float,
    below: tuple[float, ...],
    above: tuple[float, ...],
) -> None:
    found = lead_mohm(Lead.model_validate({"mm2": 1.0, "length_m": 1.0} | lead), celsius)
    whole = BASE * value
    assert found.value == pytest.approx(whole)
    assert found.low == pytest.approx(whole * (1 - parts(*below)))
    assert found.high == pytest.approx(whole * (1 + parts(*above)))


@pytest.mark.parametrize(
    ("connector", "value", "below", "above"),
    [
        # Two contacts each; unknown ones 5 mOhm, from 1 to 10; known ones to 30 %; pins share.
        (Connector(), 10.0, 8.0, 10.0),
        (Connector(contact_mohm=4.0), 8.0, 2.4, 2.4),
        (Connector(pins=4), 2.5, 2.0, 2.5),
    ],
)
def test_interval_of_a_plug_by_hand(
    connector: Connector, value: float, below: float, above: float
) -> None:
    bare = lead_mohm(Lead(length_m=1, mm2=1, stranded=False), AT_20)
    found = lead_mohm(Lead(length_m=1, mm2=1, stranded=False, connectors=(connector,)), AT_20)
    assert found.value - bare.value == pytest.approx(value)
    assert found.value - found.low == pytest.approx(parts(bare.value - bare.low, below))
    assert found.high - found.value == pytest.approx(parts(bare.high - bare.value, above))


def test_a_section_goes_before_a_gauge() -> None:
    by_section = lead_mohm(Lead(length_m=1, mm2=2.0, stranded=False), AT_20)
    assert by_section.value == pytest.approx(BASE / 2)
    by_gauge = lead_mohm(Lead(length_m=1, awg=36, stranded=False), AT_20)
    # No. 36 is 0.005 in across: 0.0126677 mm2.
    assert by_gauge.value == pytest.approx(BASE / 0.0126677, rel=1e-5)


@pytest.mark.parametrize(
    ("supply", "expected"),
    [
        ({"kind": "switch", "resistance_mohm": 7}, 7 + 2 * BASE),
        ({"kind": "switch"}, None),  # nothing known of it
        ({"kind": "regulator", "resistance_mohm": 7, "set_point_v": 7.4}, None),
        ({"kind": "regulator", "set_point_v": 7.4}, None),
    ],
    ids=str,
)
def test_what_lies_between_pack_and_bus(supply: dict[str, object], expected: float | None) -> None:
    lead = {"mm2": 1.0, "length_m": 1.0, "stranded": False}
    tern = Aircraft.model_validate(
        {
            "bus": "bus",
            "packs": [{"name": "pack 1", "lead": lead}],
            "supplies": [{"name": "s", "fed_from": ["pack 1"], "lead": lead, **supply}],
        }
    )
    found = branch_mohm(tern, "bus", "pack 1", AT_20)
    assert (None if found is None else found.value) == (
        None if expected is None else pytest.approx(expected)
    )
    # Up to the supply itself only its lead counts, whatever it is.
    to_supply = branch_mohm(tern, "bus", "s", AT_20)
    assert to_supply is not None
    assert to_supply.value == pytest.approx(BASE)


def test_a_supply_without_a_lead_sits_at_what_it_feeds() -> None:
    lead = {"mm2": 1.0, "length_m": 1.0, "stranded": False}
    tern = Aircraft.model_validate(
        {
            "bus": "bus",
            "packs": [{"name": "pack 1", "lead": lead}],
            "supplies": [{"name": "s", "kind": "switch", "fed_from": ["pack 1"],
                          "resistance_mohm": 7}],
        }
    )  # fmt: skip
    found = branch_mohm(tern, "bus", "pack 1", AT_20)
    assert found is not None
    assert found.value == pytest.approx(7 + BASE)
    assert branch_mohm(tern, "bus", "s", AT_20) is None  # nothing between the two
    assert branch_mohm(tern, "bus", "bus", AT_20) is None


@pytest.mark.parametrize(
    ("measured", "differs"),
    [
        ((60, 50, 70), False),
        ((60, 50.001, 70), True),
        ((40, 30, 50), False),
        ((40, 30, 49.999), True),
    ],
)
def test_an_interval_that_reaches_the_expected_does_not_differ(
    measured: tuple[float, float, float], differs: bool
) -> None:
    found = compare(Interval(*measured), Interval.exact(50.0))
    assert found.differs is differs
    assert found.measured_mohm == Interval(*measured)
    assert found.expected_mohm == Interval.exact(50.0)


def test_excess_and_ratio_with_both_uncertainties() -> None:
    # 60 (-3 +8) less 50 (-6 +4): below 3 and 4, above 8 and 6.
    found = compare(Interval(60, 57, 68), Interval(50, 44, 54))
    assert found.excess_mohm == Interval(10, 5, 20)
    assert found.ratio.low == pytest.approx(1.2 - parts(0.06, 1.2 - 60 / 54))
    assert found.ratio.high == pytest.approx(1.2 + parts(0.16, 60 / 44 - 1.2))


@pytest.mark.parametrize(("awg", "amps"), [(30, 0.86), (28, 1.4), (22, 7.0), (16, 22.0), (8, 73.0)])
def test_what_a_gauge_carries(awg: int, amps: float) -> None:
    """Column "chassis wiring" of the common gauge tables (Handbook of Electronic Tables and
    Formulas), from memory."""
    assert ampacity_a(area_mm2(awg)) == pytest.approx(amps)


def test_what_a_section_carries_rises_with_it_and_warms_no_wire_beyond_reason() -> None:
    """Steady heat balance of a wire in still air: I^2 R / (pi d) over a film of 20 W/(m2 K).

    The film coefficient is that of thin wires in still air, radiation included (heat transfer
    textbooks, from memory); the insulation doubles the diameter that cools.
    """
    sections = np.geomspace(area_mm2(32), area_mm2(6), 60)
    amps = np.array([ampacity_a(x) for x in sections])
    assert (np.diff(amps) > 0).all()
    inner = sections[(sections >= area_mm2(30)) & (sections <= area_mm2(8))]
    for mm2 in inner:
        surface_m2_per_m = np.pi * 2 * np.sqrt(4 * mm2 / np.pi) / 1000
        warm_k = ampacity_a(mm2) ** 2 * ohm_per_m(mm2) / (20 * surface_m2_per_m)
        assert 2 < warm_k < 80
