"""Measures of a season by column, made by hand."""

from __future__ import annotations

from collections.abc import Callable
from math import nan
from typing import Any

import numpy as np
import pytest

from telemetry.trends.measures import Measure, Measures
from telemetry.trends.table import FeatureTable
from tests.trends.conftest import blocks

Make = Callable[..., Any]


class TestTable:
    def test_columns_with_standard_errors(self, make_flight: Make) -> None:
        table = FeatureTable(
            [
                make_flight({("tail", "end_v"): (7.0, 6.804, 7.196)}),
                make_flight({("bus", "end_v"): None}),
                make_flight({("tail", "end_v"): 7.5, ("bus", "share"): 1.0}),
            ]
        )
        value, se = table.column("tail", "end_v")
        assert value == pytest.approx([7.0, nan, 7.5], nan_ok=True)
        assert se == pytest.approx([0.1, 0.0, 0.0])  # 0.392 wide: 3.92 standard errors
        value, se = table.column("bus", "end_v")
        assert np.isnan(value).all()
        assert se.tolist() == [0.0] * 3
        assert table.measured == (("tail", "end_v"), ("bus", "share"))
        assert (table.has("bus", "share"), table.has("bus", "end_v")) == (True, False)
        assert table.size == 3

    def test_an_interval_open_to_one_side_is_none(self) -> None:
        rows = [
            Measure(place="a", feature="x", value=1.0, unit="", low=0.0),
            Measure(place="a", feature="y", value=1.0, unit="", high=2.0),
        ]
        given: dict[str, Any] = {"kind": "flight", "start": None, "file": "", "duration_s": 1.0}
        given |= {"flight_s": 1.0, "update_s": None, "temperature_c": None}
        table = FeatureTable([Measures(**given, features=tuple(rows))])
        assert table.column("a", "x")[1].tolist() == [0.0]
        assert table.column("a", "y")[1].tolist() == [0.0]

    def test_stretches_are_filled_up_alike(self, make_flight: Make) -> None:
        table = FeatureTable(
            [
                make_flight(air=blocks({"tail": [1.0, 2.0]}, {"bus": [7.0, 7.1, 7.2]})),
                make_flight(),
                make_flight(stir=blocks({"tail": [5.0]}), air=blocks({"bus": [3.0]})),
            ]
        )
        tail = table.stretches("air", "amps", "tail")
        assert tail == pytest.approx(np.array([[1.0, 2.0, nan], [nan] * 3, [nan] * 3]), nan_ok=True)
        bus = table.stretches("air", "volts", "bus")
        assert bus is not None
        assert bus[0].tolist() == [7.0, 7.1, 7.2]
        stir = table.stretches("stir", "amps", "tail")
        assert stir is not None
        assert stir[2].tolist() == [5.0]
        assert stir.shape == (3, 1)
        assert table.stretches("stir", "volts", "tail") is None
        assert table.stretches("air", "amps", "nose") is None
        # Asked again it is the same.
        assert table.stretches("air", "amps", "tail") is tail
        assert table.stretches("air", "amps", "nose") is None
        assert table.current_places == ("tail", "bus")
        assert table.voltage_places == ("bus",)

    def test_without_any_stretches(self, make_flight: Make) -> None:
        table = FeatureTable([make_flight()])
        assert table.stretches("air", "amps", "tail") is None
        assert (table.current_places, table.voltage_places) == ((), ())

    def test_steps(self, make_flight: Make) -> None:
        table = FeatureTable([make_flight(steps_a={"tail": 0.1}), make_flight()])
        assert table.steps_a("tail").tolist() == [0.1, 0.0]


class TestUntil:
    def test_it_is_the_table_of_the_first_flights(self, make_flight: Make) -> None:
        flights = [
            make_flight(
                {("tail", "rest_a"): 1.0 * k, **({("nose", "rest_a"): 2.0} if k == 2 else {})},
                air=blocks({"tail": [1.0] * (k + 1), **({"nose": [3.0]} if k == 2 else {})}),
            )
            for k in range(4)
        ]
        whole = FeatureTable(flights)
        for end in range(1, 5):
            part, alone = whole.until(end), FeatureTable(flights[:end])
            assert part.size == end
            assert part.measured == alone.measured
            assert part.current_places == alone.current_places
            assert np.array_equal(part.column("tail", "rest_a"), alone.column("tail", "rest_a"))
            for place in ("tail", "nose"):
                found, expected = (t.stretches("air", "amps", place) for t in (part, alone))
                if expected is None:
                    assert found is None
                else:  # filled up with NaN to the longest of all flights
                    width = expected.shape[1]
                    assert np.array_equal(found[:, :width], expected, equal_nan=True)
                    assert np.isnan(found[:, width:]).all()

    def test_what_flights_tell_is_worked_out_once(self, make_flight: Make) -> None:
        whole, asked = FeatureTable([make_flight()] * 5), []

        def work(table: FeatureTable) -> tuple[np.ndarray]:
            asked.append(table.size)
            return (10.0 * np.arange(table.size),)

        assert whole.until(2).rows("ten", work)[0].tolist() == [0, 10]
        assert whole.rows("ten", work)[0].tolist() == [0, 10, 20, 30, 40]
        assert whole.until(3).rows("ten", work)[0].tolist() == [0, 10, 20]
        assert asked == [5]
        assert whole.until(1).rows("none", lambda _: None) is None
