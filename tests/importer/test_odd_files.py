"""The generator of odd files tells the truth: its plain kinds are read as it says.

Accuracy over all kinds is measured by ``tests/accuracy/importing.py`` and not tested here.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.accuracy.odd_files import encodings, names, structure, times, values  # noqa: F401
from tests.accuracy.odd_files.flight import random_flight
from tests.accuracy.odd_files.judging import run, values_differ
from tests.accuracy.odd_files.kinds import KINDS, make

PLAIN = ("unit-round", "decimal-comma", "iso", "unit-row", "utf-16")


@pytest.mark.parametrize("kind", PLAIN)
def test_plain_kinds_are_read_as_the_generator_says(kind: str) -> None:
    out = run(kind, 6)
    assert out.kinds == (kind,)
    assert (out.refused, out.crash) == ("", "")
    assert [c for c in out.columns if c[3] != "right"] == []


def test_there_are_many_kinds_and_the_same_seed_makes_the_same_file() -> None:
    assert len(KINDS) >= 150
    assert make(("iso",), 3).written() == make(("iso",), 3).written()
    assert make(("iso",), 3).written() != make(("iso",), 4).written()


def test_a_column_read_wrongly_is_seen() -> None:
    draft = make(("unit-round",), 2)
    c = draft.one("voltage")
    assert values_differ(c, draft.time_s, c.values, draft, 0.0) == ""
    assert values_differ(c, draft.time_s, c.values * 1e-3, draft, 0.0)
    assert values_differ(c, draft.time_s * 1.1, c.values, draft, 0.0)
    wild = np.where(np.arange(len(c.values)) == 9, 655.35, c.values)
    assert values_differ(c, draft.time_s, wild, draft, 0.0)


@pytest.mark.parametrize("seed", range(4))
def test_counters_are_integrals_of_currents_and_voltages_obey_ohm(seed: int) -> None:
    flight = random_flight(np.random.default_rng(seed), brownout=True)  # reports every place
    by = {(s.quantity, s.place): s.values for s in flight.series}
    drawn_mah = by["current", "pack 1"].sum() * flight.interval_s / 3.6
    assert by["consumed", "pack 1"][-1] == pytest.approx(drawn_mah, rel=0.05, abs=3)
    drop_v, amps = by["voltage", "bus"] - by["voltage", "left wing"], by["current", "left wing"]
    loaded = amps > np.quantile(amps, 0.8)
    assert 0.008 < np.median(drop_v[loaded] / amps[loaded]) < 0.045
