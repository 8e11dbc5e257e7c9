"""What a lead ought to measure: resistance from gauge, length, temperature and connectors.

Sources: gauge diameters ASTM B258; resistivity of annealed copper, 1/58 Ohm mm2/m at 20 degC, and
its temperature coefficient IEC 60028 (1925); stranding increment of 2 % ASTM B8 and B496;
highest resistance of flexible conductors IEC 60228 class 5, as an upper limit only.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from telemetry.aircraft import Aircraft, Connector, Lead
from telemetry.numerics.intervals import Interval, propagate

RESISTIVITY_OHM_MM2_PER_M = 1 / 58  # annealed copper, 100 % IACS, 20 degC (IEC 60028)
TEMPERATURE_COEFFICIENT_PER_K = 0.00393  # of 100 % IACS copper, from 20 degC (IEC 60028)
STRANDING = 1.02  # standard increment for the lay of the strands (ASTM B8, B496)

# Commercial copper has 97 to 101 % IACS.
_COPPER = Interval(1.0, 1 / 1.01, 1 / 0.97)
# A flexible conductor may measure up to 1.157 times ideal copper of its nominal section (IEC
# 60228 class 5: 13.3 against 11.494 Ohm/km at 1.5 mm2), solid wire up to 1.0745 times (class 1:
# 7.41 against 6.897 at 2.5 mm2), and no less than ideal copper.
_STRANDED = Interval(STRANDING, 1.0, 1.1571)
_SOLID = Interval(1.0, 1.0, 1.0745)
# A length is told to 2 cm and 2 % (heuristic: a lead is measured in the wing with a tape).
_LENGTH_M, _LENGTH_PART = 0.02, 0.02
# A closed contact of a servo or panel plug where the profile gives none (common practice, no
# source), and how far one may lie from what a data sheet says (heuristic).
_CONTACT_MOHM = Interval(5.0, 1.0, 10.0)
_CONTACT_PART = 0.3
# Continuous current by gauge, A, thinnest first; see :func:`ampacity_a`.
_AMPACITY_A = {30: 0.86, 28: 1.4, 26: 2.2, 24: 3.5, 22: 7.0, 20: 11.0, 18: 16.0} | {
    16: 22.0, 14: 32.0, 12: 41.0, 10: 55.0, 8: 73.0
}  # fmt: skip


def area_mm2(awg: int) -> float:
    """Copper cross-section of a gauge, mm2.

    ``d = 0.005 in * 92 ** ((36 - n) / 39)`` (ASTM B258).
    """
    diameter_mm: float = 0.127 * 92 ** ((36 - awg) / 39)
    return math.pi / 4 * diameter_mm**2


def section_mm2(lead: Lead) -> float:
    """Copper of one wire of a lead, mm2; a lead has either its gauge or this."""
    return lead.mm2 if lead.mm2 is not None else area_mm2(lead.awg or 0)


def ampacity_a(mm2: float) -> float:
    """Continuous current of one insulated copper wire alone in air, A.

    Between gauges, and beyond them, as a power of the section. A bundle, a hot fuselage or a data
    sheet that says less needs a ``limit_a`` of its own in the profile.

    Source: the column "chassis wiring" of the common American Wire Gauge tables (Handbook of
    Electronic Tables and Formulas), from memory.
    """
    sections = np.log([area_mm2(awg) for awg in _AMPACITY_A])
    amps = np.log(list(_AMPACITY_A.values()))
    x = math.log(mm2)
    k = int(np.clip(np.searchsorted(sections, x), 1, len(sections) - 1))
    slope = (amps[k] - amps[k - 1]) / (sections[k] - sections[k - 1])
    return math.exp(amps[k - 1] + slope * (x - sections[k - 1]))


def ohm_per_m(mm2: float, temperature_c: float = 20.0) -> float:
    """Resistance of one metre of ideal solid copper of a cross-section, Ohm/m."""
    warm = 1 + TEMPERATURE_COEFFICIENT_PER_K * (temperature_c - 20)
    return RESISTIVITY_OHM_MM2_PER_M / mm2 * warm


def lead_mohm(lead: Lead, temperature_c: Interval | None = None) -> Interval:
    """Resistance that a sound lead ought to have, out and back, with its connectors.

    Parameters
    ----------
    lead : Lead
    temperature_c : Interval or None
        Temperature of the copper; None: 20 degC, between 0 and 40.

    Returns
    -------
    Interval
        mOhm: twice the one-way length (there and back) of copper, and two contacts (plus and
        minus) for each connector. The interval holds the conductivity of commercial copper, the
        stranding, the temperature, the length and the contacts.
    """
    mm2 = section_mm2(lead)
    inputs = {
        "length_m": Interval.around(
            lead.length_m, min(_LENGTH_M + _LENGTH_PART * lead.length_m, lead.length_m / 2)
        ),
        "temperature_c": temperature_c or Interval(20.0, 0.0, 40.0),
        "copper": _COPPER,
        "lay": _STRANDED if lead.stranded else _SOLID,
        **{f"contact {i}": _contact(c) for i, c in enumerate(lead.connectors)},
    }

    def total(x: Mapping[str, float]) -> dict[str, float]:
        core = ohm_per_m(mm2, x["temperature_c"]) * x["copper"] * x["lay"] / lead.wires
        plugs = sum(2 * x[f"contact {i}"] / c.pins for i, c in enumerate(lead.connectors))
        return {"mohm": 2 * x["length_m"] * core * 1e3 + plugs}

    return propagate(total, inputs)["mohm"]


def _contact(connector: Connector) -> Interval:
    if connector.contact_mohm is None:
        return _CONTACT_MOHM
    return Interval.around(connector.contact_mohm, _CONTACT_PART * connector.contact_mohm)


def branch_mohm(
    aircraft: Aircraft, place: str, parent: str, temperature_c: Interval | None = None
) -> Interval | None:
    """Resistance that the path from one place down to another ought to have.

    Parameters
    ----------
    aircraft : Aircraft
    place, parent : str
        A node or the bus, and the place above it: the one that feeds it or one further up.
    temperature_c : Interval or None
        As for :func:`lead_mohm`.

    Returns
    -------
    Interval or None
        mOhm, the leads and switches between the two; None where a part of the path is not in the
        profile, or where a regulator lies between (its drop is not a resistance). A supply without
        a lead of its own sits at what it feeds.
    """
    way = aircraft.feed_path(place, parent)
    parts: list[Interval] = []
    for here, above in pairwise(way):
        node, supply, pack = aircraft.node(here), aircraft.supply(above), aircraft.pack(above)
        lead = None if node is None else node.lead
        if lead is None and (part := supply or pack) is not None:
            lead = part.lead
        if lead is not None:
            parts.append(lead_mohm(lead, temperature_c))
        elif supply is None:
            return None
        if supply is not None and above != parent:
            if supply.kind == "regulator" or supply.resistance_mohm is None:
                return None
            parts.append(Interval.exact(supply.resistance_mohm))
    if not parts:
        return None
    return propagate(lambda x: {"mohm": sum(x.values())}, {str(i): p for i, p in enumerate(parts)})[
        "mohm"
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class WireComparison:
    """A measured resistance held against what the wire table expects.

    Attributes
    ----------
    measured_mohm, expected_mohm : Interval
    excess_mohm, ratio : Interval
        Measured minus, and over, expected, with both uncertainties.
    differs : bool
        Whether the 95 % interval of the excess leaves zero out.
    """

    measured_mohm: Interval
    expected_mohm: Interval
    excess_mohm: Interval
    ratio: Interval
    differs: bool


def compare(measured_mohm: Interval, expected_mohm: Interval) -> WireComparison:
    """Hold a measured resistance against the expected one, both with their uncertainties."""
    both = propagate(
        lambda x: {"excess": x["m"] - x["e"], "ratio": x["m"] / x["e"]},
        {"m": measured_mohm, "e": expected_mohm},
    )
    excess = both["excess"]
    return WireComparison(
        measured_mohm=measured_mohm,
        expected_mohm=expected_mohm,
        excess_mohm=excess,
        ratio=both["ratio"],
        differs=excess.low > 0 or excess.high < 0,
    )
