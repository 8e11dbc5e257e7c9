"""The document of one flight: to JSON and back, and looked up."""

from __future__ import annotations

import json
from collections.abc import Callable
from math import nan
from typing import Any

import numpy as np

from telemetry.results import Cause, Level
from telemetry.trends.measures import EventCount, GroupDraw, Measure, Measures, ReportedFinding
from tests.trends.conftest import blocks

Make = Callable[..., Any]


class TestDocument:
    def test_goes_to_json_and_back(self, make_flight: Make) -> None:
        made = make_flight(
            {("tail", "rest_a"): (0.2, 0.1, 0.3), ("bus", "end_v"): None},
            start="2026-05-01T10:00:00",
            update_s=0.5,
            temperature_c=12.5,
            stir=blocks({"tail": [1.0, nan]}, {"tail": [7.0, 7.1]}),
            groups=(
                GroupDraw(
                    place="tail",
                    controls=("elevator", "rudder"),
                    outputs=("1", "2"),
                    value=0.01,
                    low=0.009,
                    high=0.011,
                    separable=False,
                    basis="check",
                ),
            ),
            events=(EventCount(place="tail", origin="contact", count=3, deepest_v=1.2),),
            reported=(
                ReportedFinding(
                    "pack-out",
                    "pack 1",
                    Level.WATCH,
                    "gave nothing",
                    True,
                    "Look.",
                    "Stop.",
                    (Cause(kind="contact", cause="a plug", speaks_for=("it came 3 times",)),),
                    True,
                ),
            ),
            steps_a={"tail": 0.1},
            servos={"tail": 3},
            labels={"pack 1": "A"},
        )
        back = Measures.of(json.loads(json.dumps(made.document(), allow_nan=False)))
        assert back.stir is not None
        assert (back.stir.block_s, back.air) == (2.5, None)
        assert back.stir.volts["tail"].tolist() == [7.0, 7.1]
        assert back.stir.amps["tail"][0] == 1.0
        assert np.isnan(back.stir.amps["tail"][1])
        assert back.document() == made.document()
        plain = [f for f in Measures.__dataclass_fields__ if f not in ("stir", "air")]
        assert [getattr(back, f) for f in plain] == [getattr(made, f) for f in plain]

    def test_means_are_kept_to_six_digits(self, make_flight: Make) -> None:
        doc = make_flight(air=blocks({"tail": [1.23456789, 0.00012345678]})).document()
        assert doc["air"]["amps"] == {"tail": [1.23457, 0.000123457]}
        assert doc["stir"] is None

    def test_a_measure_by_place_and_name_where_it_has_a_value(self, make_flight: Make) -> None:
        m = make_flight({("tail", "rest_a"): 0.2, ("tail", "end_v"): None, ("bus", "end_v"): 7.0})
        assert m.get("bus", "end_v") == Measure(place="bus", feature="end_v", value=7.0, unit="")
        assert m.value("tail", "rest_a") == 0.2
        assert m.value("bus", "end_v") == 7.0
        for place, feature in (("tail", "end_v"), ("bus", "rest_a"), ("nose", "end_v")):
            assert m.get(place, feature) is None
            assert m.value(place, feature) is None


def test_the_worst_finding_gives_the_verdict(make_flight: Make) -> None:
    seen = (
        ReportedFinding("sag", "tail", Level.WATCH),
        ReportedFinding("pack-out", "pack 1", Level.GROUND),
        ReportedFinding("pack-low", "pack 2", Level.UNKNOWN),
        ReportedFinding("brownout", "tail", Level.GROUND),
        ReportedFinding("pack-out", "pack 2", Level.GROUND),
    )
    assert make_flight(reported=seen).verdict is Level.GROUND
    assert make_flight(reported=seen).codes == ("pack-out", "brownout")
    assert make_flight(reported=seen[:1]).verdict is Level.WATCH
    assert make_flight(reported=seen[:1]).codes == ("sag",)
    assert (make_flight().verdict, make_flight().codes) == (Level.CLEAR, ())
