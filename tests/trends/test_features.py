"""Measures of simulated flights against the simulator's truth; documents and back."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from telemetry.app.cache import measured
from telemetry.app.pipeline import review
from telemetry.app.usual import compare
from telemetry.checks.across import judge
from telemetry.importer import read_log
from telemetry.results import Level, PhaseKind, Review
from telemetry.simulate import (
    Dialect,
    Fault,
    FaultKind,
    Mode,
    ServoLaw,
    SimulatedRecording,
    write_csv,
)
from telemetry.simulate.pilot import Pilot
from telemetry.simulate.season import Habits, Season, fly
from telemetry.trends.measures import Blocks, Measures, ReportedFinding
from telemetry.trends.table import FeatureTable
from tests.simulated.cases import random_telemetry
from tests.simulated.machines import random_aircraft

Flown = tuple[list[SimulatedRecording], list[Review], list[Measures]]


@pytest.fixture(scope="module")
def flown(tmp_path_factory: pytest.TempPathFactory) -> Flown:
    """Nine short flights; one servo of the left wing wears from the sixth on."""
    rng = np.random.default_rng(7)
    aircraft = random_aircraft(
        rng, law=ServoLaw.FRICTION, nodes=("left wing", "right wing", "tail"), packs=2
    )
    servo = aircraft.servos_of("left wing")[0].name
    season = Season(
        aircraft=aircraft,
        telemetry=random_telemetry(
            rng, aircraft, node_currents=True, controls=False, mode=Mode.MEAN, interval_s=0.2
        ),
        dialect=Dialect(),
        pilot=Pilot(stir_s=16.0),
        seed=3,
        flights=9,
        faults=(
            Fault(
                kind=FaultKind.SERVO_BINDING,
                place="left wing",
                servo=servo,
                onset=6,
                start=0.3,
                growth=0.3,
            ),
        ),
        habits=Habits(flight_s=130.0, stir=1.0, stir_after=0.0, power_cycle=0.0, pack_check=0.0),
        dt_s=0.02,
    )
    folder = tmp_path_factory.mktemp("flown")
    recordings, reviews, found = list(fly(season)), [], []
    for k, recording in enumerate(recordings, 1):
        path = Path(folder) / f"flight {k}.csv"
        write_csv(path, recording, dialect=season.dialect)
        reviews.append(review(read_log(path)))
        found.append(measured(reviews[-1]))
    return recordings, reviews, found


def _mean_true(recording: SimulatedRecording, signal: str, kind: PhaseKind) -> float:
    t = recording.time_s
    part = np.zeros(t.size, dtype=bool)
    for p in recording.truth.phases:
        if p.kind is kind:
            part |= (t >= p.start_s + 0.5) & (t < p.end_s - 0.5)
    return float(recording.signals[signal][part].mean())


def test_documents_are_json_and_come_back_the_same(flown: Flown) -> None:
    _, reviews, found = flown
    doc = measured(reviews[0]).document()
    text = json.dumps(doc, allow_nan=False)
    back = Measures.of(json.loads(text))
    assert back.document() == doc
    assert back.features == found[0].features
    assert back.stir is not None
    assert set(back.stir.amps) >= {"left wing", "right wing", "tail", "bus"}


def test_currents_are_those_that_flowed(flown: Flown) -> None:
    recordings, _, found = flown
    for recording, m in zip(recordings, found, strict=True):
        for place in ("left wing", "right wing", "tail"):
            gain = recording.truth.gain[place]
            for feature, kind in (
                ("stir_mean_a", PhaseKind.STIR),
                ("air_mean_a", PhaseKind.FLIGHT),
            ):
                true = gain * _mean_true(recording, f"{place}/current", kind)
                f = m.get(place, feature)
                assert f is not None
                assert f.value == pytest.approx(true, rel=0.12)
                assert f.low is not None
                assert f.high is not None
                assert f.low < f.value < f.high  # type: ignore[operator]


def test_mean_drop_over_mean_current_is_the_resistance(flown: Flown) -> None:
    """Two flights' mean drops differ as their currents do: slope against the truth."""
    recordings, _, found = flown
    table = FeatureTable(found)
    for place in ("left wing", "right wing", "tail"):
        fall, amps = [], []
        for part in ("stir", "air"):
            bus, own, i = (
                table.stretches(part, what, p)
                for what, p in (("volts", "bus"), ("volts", place), ("amps", place))
            )
            assert bus is not None
            assert own is not None
            assert i is not None
            fall += np.nanmean(bus - own, axis=1).tolist()
            amps += np.nanmean(i, axis=1).tolist()
        slope, _ = np.polyfit(amps, fall, 1)
        true = np.mean([r.truth.branch_mohm[place] for r in recordings])
        assert 1000 * slope * recordings[0].truth.gain[place] == pytest.approx(true, rel=0.25)


def test_the_worn_servo_is_found_from_files(flown: Flown) -> None:
    recordings, _, found = flown
    assert judge(found[:5]).findings == ()
    history = judge(found)
    rising = [f for f in history.findings if f.code == "servo-current-rising"]
    assert [f.place for f in rising] == ["left wing"]
    assert rising[0].since_flight in {"5", "6", "7"}
    assert rising[0].change is not None
    # The servo draws 120 % more in flight 9; its node, by the simulator's own signals:
    true = [
        _mean_true(r, "left wing/current", PhaseKind.STIR)
        / _mean_true(r, "right wing/current", PhaseKind.STIR)
        for r in recordings
    ]
    node_rise = true[8] / np.mean(true[:5]) - 1.0
    assert rising[0].change.rise / 4 == pytest.approx(100 * node_rise, rel=0.35)


def test_a_flight_beside_the_earlier_ones(flown: Flown) -> None:
    _, reviews, found = flown
    rows = compare(reviews[8], found[:8])
    worn = next(c for c in rows if (c.place, c.feature) == ("left wing", "air_mean_a"))
    assert worn.flights == 8
    assert worn.usual_low < worn.usual_high
    assert worn.sentence.startswith("left wing mean current in flight ")
    assert "over 8 flights" in worn.sentence
    assert rows == tuple(sorted(rows, key=lambda c: not c.outside))
    assert compare(reviews[8], found[:2]) == ()


def test_nothing_measured_gives_an_empty_document(bare_review: Review, make_review: Any) -> None:
    with_phase = make_review()
    assert measured(with_phase).kind == "flight"
    assert bare_review.flights == ()


def test_flights_with_more_stretches_line_up() -> None:
    def flight(n: int) -> Measures:
        amps = {"tail": np.arange(n, dtype=float), "bus": np.arange(n, dtype=float) + 1}
        return Measures(
            kind="flight", start=None, file="", duration_s=1.0, flight_s=1.0, update_s=None,
            temperature_c=None, features=(), stir=Blocks(block_s=1.0, amps=amps),
        )  # fmt: skip

    table = FeatureTable([flight(3), flight(5)])
    tail, bus = table.stretches("stir", "amps", "tail"), table.stretches("stir", "amps", "bus")
    assert tail is not None
    assert bus is not None
    assert tail.shape == (2, 5)
    assert np.isnan(tail[0, 3:]).all()
    np.testing.assert_array_equal((bus - tail)[np.isfinite(tail)], 1.0)
    assert table.stretches("air", "amps", "tail") is None
    assert table.stretches("stir", "volts", "tail") is None


@pytest.mark.parametrize(
    ("seen", "level", "codes"),
    [
        ((), Level.CLEAR, ()),
        ((ReportedFinding("log-too-thin", "", Level.UNKNOWN),), Level.UNKNOWN, ("log-too-thin",)),
        (
            (
                ReportedFinding("pack-share", "bus", Level.WATCH),
                ReportedFinding("brownout", "bus", Level.GROUND),
                ReportedFinding("brownout", "tail", Level.GROUND),
                ReportedFinding("pack-out", "pack 1", Level.GROUND),
            ),
            Level.GROUND,
            ("brownout", "pack-out"),
        ),
    ],
)
def test_the_verdict_of_a_flight_by_itself_is_its_worst_finding(
    seen: tuple[ReportedFinding, ...], level: Level, codes: tuple[str, ...], make_season: Any
) -> None:
    one = replace(make_season(1)[0], reported=seen)
    assert (one.verdict, one.codes) == (level, codes)
    listed = judge([one]).flights[0]
    assert (listed.verdict, listed.codes) == (level, codes)
    assert Measures.of(one.document()).codes == codes
