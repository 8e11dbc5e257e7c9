"""``busbook compare``: two flights of the book against one another, what differs first."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes

from telemetry.app.comparing import compare_flights, differences
from telemetry.book import Logbook, flights_named
from telemetry.model.channels import Quantity
from telemetry.report.document import FigureBlock
from telemetry.report.documents.of_pair import pair_document
from telemetry.report.draw_pair import PairScene
from telemetry.report.figures import style
from telemetry.results import Alignment, Feature, FlightPair, History, PhaseKind

SAMPLES = Path(__file__).parents[2] / "sample_logs"
LOGS = ("tern-bench-stir", "tern-flight-01", "tern-flight-06", "tern-flight-12")


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample logs of tern in their order: a bench recording and three flights."""
    from telemetry.app.adding import add_logs

    folder = tmp_path_factory.mktemp("pairs") / "book"
    add_logs(Logbook(folder), [SAMPLES / f"{one}.csv" for one in LOGS], aircraft="tern")
    return folder


@pytest.fixture(scope="module")
def pair(book: Path) -> FlightPair:
    shelf = Logbook(book, make=False)
    return compare_flights(shelf, *flights_named(shelf, ("tern", "2", "4")))


def features(
    values: dict[str, list[float | None]], feature: str = "stir_mean_a", unit: str = "A"
) -> tuple[Feature, ...]:
    return tuple(
        Feature(flight=f"{k:016x}-0", place=place, feature=feature, value=value, unit=unit)
        for place, row in values.items()
        for k, value in enumerate(row)
    )


# Ten flights; the last two are compared.
STEADY = [1.00, 1.02, 0.99, 1.01, 1.00, 1.02, 0.98, 1.00]


def test_a_harder_stir_is_no_difference_of_one_place(history: History) -> None:
    hard = [*STEADY, 1.00, 1.60]
    rows = dict.fromkeys(("left wing", "right wing", "tail"), hard)
    ids = (f"{8:016x}-0", f"{9:016x}-0")
    alike = differences(replace(history, features=features(rows)), *ids)
    assert len(alike) == 3
    assert not any(d.plain_to_see for d in alike)
    # One that rises by a fifth more than the others is the one that is told.
    rows["right wing"] = [*STEADY, 1.00, 1.92]
    one = differences(replace(history, features=features(rows)), *ids)
    assert [d.place for d in one if d.plain_to_see] == ["right wing"]
    assert (one[0].first, one[0].second) == (1.00, 1.92)
    assert (one[0].usual_low, one[0].usual_high, one[0].flights) == (0.98, 1.02, 8)


def test_volts_are_taken_apart_by_adding(history: History) -> None:
    """All places 0.5 V lower is an emptier pack; one 0.3 V lower still is a lead."""
    volts = [8.00, 8.01, 8.00, 7.99, 8.00, 8.01, 8.00, 8.00, 8.00]
    rows: dict[str, list[float | None]] = {p: [*volts, 7.5] for p in ("bus", "left wing", "tail")}
    rows["left wing"] = [*volts, 7.2]
    ids = (f"{8:016x}-0", f"{9:016x}-0")
    found = differences(replace(history, features=features(rows, "lowest_flight_v", "V")), *ids)
    assert [d.place for d in found if d.plain_to_see] == ["left wing"]


def test_a_fault_that_grew_in_the_flights_between_does_not_hide_itself(history: History) -> None:
    """Held against the step from flight to flight, not against the span of all of them."""
    grown: list[float | None] = [25.0, 26.0, 25.0, 27.0, 30.0, 36.0, 43.0, 50.0, 25.0, 58.0]
    found = differences(
        replace(history, features=features({"left wing": grown}, "branch_mohm", "mOhm")),
        f"{8:016x}-0",
        f"{9:016x}-0",
    )
    (one,) = found
    assert one.plain_to_see
    assert (one.usual_low, one.usual_high) == (25.0, 50.0)


def test_what_one_flight_lacks_is_not_compared_and_few_flights_have_no_usual_range(
    history: History,
) -> None:
    ids = (f"{0:016x}-0", f"{1:016x}-0")
    rows: dict[str, list[float | None]] = {"tail": [1.0, None], "bus": [1.0, 1.2, 1.1, 1.0]}
    (one,) = differences(replace(history, features=features(rows)), *ids)
    assert (one.place, one.usual_low, one.usual_high, one.flights) == ("bus", None, None, 2)


def test_both_flights_lie_over_one_another_at_take_off_on_one_scale(pair: FlightPair) -> None:
    assert pair.alignment is Alignment.TAKE_OFF
    for one in (pair.first, pair.second):
        flights = [p for f in one.review.flights for p in f.phases if p.kind is PhaseKind.FLIGHT]
        assert one.aligned_s == flights[0].start_s
    axes = drawn(pair, FigureBlock(name="overlay", place="left wing", caption="", alt=""))
    assert [ax.get_ylabel() for ax in axes] == ["voltage (V)", "current (A)"]
    assert axes[-1].get_xlabel() == "time from take-off (mm:ss)"
    for ax, quantity in zip(axes, (Quantity.VOLTAGE, Quantity.CURRENT), strict=True):
        lines = {line.get_gid(): line for line in ax.lines}
        for k, one in enumerate((pair.first, pair.second)):
            (reading,) = (r for r in one.review.readings.of(quantity) if r.place == "left wing")
            line = lines[f"trace-{quantity}-{k}"]
            assert line.get_label() == f"flight {one.number}"
            t, v = (np.asarray(x, dtype=float) for x in line.get_data())
            assert np.nanmin(t) >= reading.t[0] - one.aligned_s - 1e-6
            extreme, edge = (np.nanmin, reading.v.min()) if quantity is Quantity.VOLTAGE else (
                np.nanmax, reading.v.max(),
            )  # fmt: skip
            assert extreme(v) == pytest.approx(edge), "no lowest point is lost"
            at = reading.t[reading.v == edge] - one.aligned_s
            assert np.abs(at - t[np.nanargmin(np.abs(v - edge))]).min() < 2.0
        (zero,) = (line for line in ax.lines if line.get_gid() == "zero")
        assert list(zero.get_xdata()) == [0.0, 0.0]
    styles = {(line.get_color(), line.get_linestyle()) for line in axes[0].lines
              if str(line.get_gid()).startswith("trace")}  # fmt: skip
    assert len({s for _, s in styles}) == 2, "told apart without colour"
    other = drawn(pair, FigureBlock(name="overlay", place="right wing", caption="", alt=""))
    assert [ax.get_ylim() for ax in other] == [ax.get_ylim() for ax in axes]


def drawn(pair: FlightPair, block: FigureBlock) -> list[Axes]:
    scene = PairScene(pair)
    fig = style.new_figure(390, scene.height(block))
    assert scene.draw(fig, block)
    return list(fig.axes)


def test_with_a_bench_recording_the_stirs_are_laid_over_one_another(book: Path) -> None:
    shelf = Logbook(book, make=False)
    pair = compare_flights(shelf, *flights_named(shelf, ("tern", "1", "4")))
    assert pair.alignment is Alignment.STIR
    block = pair_document(pair).first.timeline
    assert block is not None
    assert "stir" in block.caption
    assert drawn(pair, block)[-1].get_xlabel() == "time from the stir (mm:ss)"


def test_what_is_not_measured_has_no_figure(pair: FlightPair) -> None:
    block = FigureBlock(name="overlay", place="left fin", caption="", alt="")
    fig = style.new_figure(390, 300)
    assert not PairScene(pair).draw(fig, block)


def test_the_command_prints_what_differs_first_and_the_answer(run, book: Path) -> None:
    result = run("compare", "tern", "2", "4", "--book", book)
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    answer = json.loads(run("history", "tern", "--json", "--book", book).stdout)["answer"]
    assert answer["title"][1:40] in result.stdout.replace("\n    ", " ")
    assert "No. 2" in result.stdout
    assert "No. 4" in result.stdout
    assert lines[-2].strip() == "busbook history tern" or "busbook history tern" in result.stdout


def test_the_document_and_the_reports_hold_the_same(run, book: Path, tmp_path: Path) -> None:
    made = run("compare", "tern 2", "tern 4", "--book", book, "--json",
               "--out", tmp_path, "--format", "html,pdf")  # fmt: skip
    assert made.exit_code == 0
    document = json.loads(made.stdout)
    assert document["schema"] == "busbook.compare/1"
    assert [f["number"] for f in document["flights"]] == [2, 4]
    assert document["aligned_at"] == "take-off"
    scores = [d["score"] for d in document["differences"]]
    assert scores == sorted(scores, reverse=True)
    page = (tmp_path / "tern-2-4.html").read_text(encoding="utf-8")
    assert (tmp_path / "tern-2-4.pdf").read_bytes().startswith(b"%PDF")
    first = document["differences"][0]
    assert first["name"] in page
    assert f"{first['second']:.{first['digits']}f}" in page
    assert page.count("<svg") > 6
    assert "://" not in page.replace("http://www.w3.org/", "")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("tern", "2"), "1 flight named"),
        (("tern", "2", "3", "4"), "3 flights named"),
        (("tern", "2", "2"), "1 flight named"),
        (("tern", "2", "9"), "no flight 9"),
        (("gull", "1", "2"), "gull"),
    ],
)
def test_two_flights_of_one_aircraft_are_asked_for(run, book: Path, words, told) -> None:
    result = run("compare", *words, "--book", book)
    assert (result.exit_code, result.stdout) == (2, "")
    (sentence,) = result.stderr.splitlines()
    assert told in sentence
    assert sentence.endswith(".")
