"""Bare readings, as for what is measured."""

from tests.measure.conftest import make_readings as make_readings
