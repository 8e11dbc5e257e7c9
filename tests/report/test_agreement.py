"""Numbers that agree: what one log's surfaces say of its lowest voltage and highest current."""

from __future__ import annotations

from pathlib import Path

import pytest

from telemetry.app.pipeline import review
from telemetry.importer import read_log
from telemetry.report.document import Table
from telemetry.report.parts.first_page import key_numbers
from telemetry.report.parts.sections import places_section
from telemetry.report.parts.worst import worst_table
from telemetry.report.words import NumberSteps
from telemetry.results import EventKind, Margin, Review, WorstCase

SAMPLES = sorted((Path(__file__).parents[2] / "sample_logs").glob("*.csv"))


@pytest.fixture(scope="module", params=SAMPLES, ids=lambda path: path.stem)
def sample(request: pytest.FixtureRequest) -> Review:
    return review(read_log(request.param))


def numbers_of(table: Table, title: str) -> list[float]:
    (k,) = [k for k, c in enumerate(table.columns) if c.title == title]
    return [float(row[k].text) for row in table.rows if row[k].text != "-"]


def test_lowest_voltage_and_margin_are_the_same_everywhere(sample: Review) -> None:
    low, _, _, margin, _ = key_numbers(sample, sample.readings)
    (worst,) = [
        m
        for m in sample.flights[0].margins
        if m.lowest_v is not None
        and m.lowest_v == min(x.lowest_v for x in sample.flights[0].margins if x.lowest_v)
    ][:1]
    lowest_v, margin_v = (float(n.value.removesuffix(" V")) for n in (low, margin))
    assert lowest_v == pytest.approx(worst.lowest_v, abs=0.051)
    assert lowest_v - worst.restart_v == pytest.approx(margin_v, abs=0.051)
    table = next(b for b in places_section(sample).blocks if isinstance(b, Table))
    behind = [r for r in table.rows if not r[0].text.startswith("pack")]
    shown = Table(caption="", columns=table.columns, rows=tuple(behind))
    under_load = numbers_of(shown, "Stir V") + numbers_of(shown, "Flight V")
    assert min(under_load) == pytest.approx(lowest_v)


def test_the_highest_current_is_the_same_everywhere_and_a_spike_of_the_flight(
    sample: Review,
) -> None:
    _, high, *_ = key_numbers(sample, sample.readings)
    shown_a = float(high.value.removesuffix(" A"))
    flight = sample.flights[0]
    assert max(x.peak_a for x in flight.loads if x.peak_a) == pytest.approx(shown_a, abs=0.051)
    table = next(b for b in places_section(sample).blocks if isinstance(b, Table))
    assert max(numbers_of(table, "Highest A")) == pytest.approx(shown_a)
    if flight.kind == "flight":
        spikes = [e.peak_a for e in flight.events if e.kind is EventKind.SPIKE and e.peak_a]
        assert max(spikes) == pytest.approx(shown_a, abs=0.051)


@pytest.mark.parametrize(("low_v", "told"), [(6.0, True), (0.0, False)])
def test_a_return_level_that_may_be_anything_is_no_number(low_v: float, told: bool) -> None:
    many = WorstCase(case="return-level", current_a=20.0, voltage_v=6.5, low_v=low_v, high_v=7.0)
    lost = WorstCase(case="pack-lost", current_a=9.0, voltage_v=6.8, low_v=6.7, high_v=6.9)
    place = Margin(place="bus", lowest_v=7.0, restart_v=3.5, observed_v=3.5, cases=(lost, many))
    table = worst_table((place,), NumberSteps({}))
    assert table is not None
    assert [row[1].text for row in table.rows] == ["one pack lost"] + told * [
        "peak of many flights"
    ]
    assert ("Not worked out" in table.note) is not told
