"""Readings: what each channel really reported, with the false readings set aside.

Every detector works on these and not on the rows: a held repeat is no reading, a frozen link
brings none, and one impossible value alone in time is set aside and listed.
"""

from __future__ import annotations

from telemetry.readings.extremes import Extreme, highest_current, lowest_of, lowest_voltage
from telemetry.readings.silence import NO_SUPPLY_V, OF_TRANSMITTER
from telemetry.readings.sources import source_voltages
from telemetry.readings.still import still_spans
from telemetry.readings.taking import take_readings
from telemetry.readings.total import Total, block_means, part_standing, total_current
from telemetry.results.readings import Reading, Readings

__all__ = [
    "NO_SUPPLY_V",
    "OF_TRANSMITTER",
    "Extreme",
    "Reading",
    "Readings",
    "Total",
    "block_means",
    "highest_current",
    "lowest_of",
    "lowest_voltage",
    "part_standing",
    "source_voltages",
    "still_spans",
    "take_readings",
    "total_current",
]
