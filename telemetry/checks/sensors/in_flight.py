"""Rules on the sensors: counters against currents, offsets, the balance of the currents."""

from __future__ import annotations

import math
from collections.abc import Iterable

from telemetry.aircraft import Aircraft
from telemetry.checks.making import make
from telemetry.measure.charge_state import counter_mismatch
from telemetry.model.channels import PlaceKind, Quantity, kind_of_place
from telemetry.results import ColumnUse, Finding, Flight, Level, Quality


def capacity(flight: Flight, columns: Iterable[ColumnUse]) -> list[Finding]:
    """A unit's own counter against the current added up."""
    steps = {c.place: c.resolution or 0.0 for c in columns if c.quantity == Quantity.CONSUMED}
    out = []
    for c in flight.charge:
        if c.logged_mah is None or c.integrated_mah is None:
            continue
        uncertain = math.hypot(c.uncertain_mah or 0.0, steps.get(c.place, 0.0))
        held = counter_mismatch(c.logged_mah, c.integrated_mah, uncertain)
        if held is None or not held.differs:
            continue
        out.append(
            make(
                "capacity-mismatch",
                Level.WATCH,
                c.place,
                f"{c.place}: counter {c.logged_mah:.0f} mAh, "
                f"current added up {c.integrated_mah:.0f} mAh",
                {
                    "logged_mah": c.logged_mah,
                    "integrated_mah": c.integrated_mah,
                    "ratio": held.ratio.value,
                    "low_ratio": held.ratio.low,
                    "high_ratio": held.ratio.high if math.isfinite(held.ratio.high) else None,
                },
            )
        )
    return out


def offsets(flight: Flight, aircraft: Aircraft) -> list[Finding]:
    """Two voltage sensors that differ at no load, by the resistance's own offset."""
    out = []
    for r in flight.resistances:
        if r.kind != "branch" or r.offset_v is None or r.offset_low_v is None:
            continue
        # A receiver often has a regulator of its own: what lies between is no offset.
        known = aircraft.node(r.place) is not None and r.place != aircraft.root
        if not known or kind_of_place(r.place) is PlaceKind.RECEIVER:
            continue
        nearest = 0.0
        if r.offset_low_v > 0:
            nearest = r.offset_low_v
        elif r.offset_high_v is not None and r.offset_high_v < 0:
            nearest = -r.offset_high_v
        if nearest > 0.1:
            out.append(
                make(
                    "sensor-offset",
                    Level.WATCH if nearest > 0.25 else Level.CLEAR,
                    r.place,
                    f"{r.place} reads {abs(r.offset_v):.2f} V "
                    f"{'below' if r.offset_v > 0 else 'above'} {r.parent} at no load",
                    {"offset_v": r.offset_v, "low_v": r.offset_low_v, "high_v": r.offset_high_v},
                )
            )
    return out


def balance(quality: Quality, flights: tuple[Flight, ...]) -> list[Finding]:
    """Nodes that together draw more than the total current."""
    if quality.balance_a is None:
        return []
    stirred = [p.mean_a for f in flights for s in f.stirs for p in s.places if p.mean_a is not None]
    scale = max(stirred, default=3.0)
    if quality.balance_a < -max(0.15, 0.04 * scale):
        return [
            make(
                "current-balance",
                Level.WATCH,
                None,
                f"the nodes together draw {-quality.balance_a:.2f} A more than the total",
                {"balance_a": quality.balance_a, "spread_a": quality.balance_spread_a},
            )
        ]
    return []
