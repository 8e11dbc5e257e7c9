"""``review --json`` is a contract: every key of "busbook.review/1", and null where not measured.

The keys are written out here by hand, so that none goes by accident.
"""

from __future__ import annotations

import itertools
import json
from pathlib import Path
from typing import Any

import pytest

SAMPLES = sorted((Path(__file__).parents[2] / "sample_logs").glob("*.csv"))

SPAN = {"start_s", "end_s"}
KEYS: dict[str, set[str]] = {
    "": {"schema", "busbook", "errors", "reviews"},
    "errors": {"file", "message"},
    "reviews": {"log", "columns", "quality", "flights", "checks", "findings", "verdict"},
    "reviews.log": {
        "file", "sha256", "rows", "start", "duration_s", "encoding", "separator", "decimal",
        "layout",
    },
    "reviews.columns": {
        "column", "quantity", "place", "unit", "reason", "update_s", "resolution", "used",
    },
    "reviews.quality": {
        "row_s", "shortest_sure_dip_s", "gaps", "restarts", "dropouts", "spurious",
    },
    "reviews.quality.gaps": SPAN,
    "reviews.quality.restarts": {"time_s", "place"},
    "reviews.quality.dropouts": {"place"} | SPAN,
    "reviews.quality.spurious": {"time_s", "place"},
    "reviews.flights": {
        "kind", "phases", "stirs", "events", "resistances", "charge", "margins", "servos",
    } | SPAN,
    "reviews.flights.phases": {"kind"} | SPAN,
    "reviews.flights.stirs": {"rhythm_hz", "places"} | SPAN,
    "reviews.flights.stirs.places": {
        "place", "rest_a", "mean_a", "p95_a", "peak_a", "mah", "lowest_v", "sag_mohm",
    },
    "reviews.flights.events": {
        "kind", "place", "truncated", "reference_v", "residual_v", "depth_v", "deficit_vs",
        "peak_a", "phase", "explained", "explained_by", "origin", "evidence",
    } | SPAN,
    "reviews.flights.resistances": {
        "kind", "place", "mohm", "low_mohm", "high_mohm", "updates", "expected_mohm",
    },
    "reviews.flights.charge": {
        "place", "logged_mah", "integrated_mah", "share", "start_v", "end_v",
    },
    "reviews.flights.margins": {"place", "lowest_v", "restart_v", "observed_v", "cases"},
    "reviews.flights.margins.cases": {"case", "current_a", "voltage_v", "low_v", "high_v"},
    "reviews.flights.servos": {
        "place", "outputs", "drives", "travel_a_per_pct_s", "hold_a_per_pct", "low", "high",
        "condition_index", "separable",
    },
    "reviews.checks": {
        "code", "question", "place", "outcome", "reason", "sees", "essential", "why", "next_time",
    },
    "reviews.findings": {
        "code", "level", "place", "servo", "title", "evidence", "explanations", "confirm", "advice",
        "causes", "ranked", "also", "follows_code", "follows_place",
    },
    "reviews.findings.causes": {"cause", "speaks_for", "speaks_against"},
}  # fmt: skip
WORDS = {
    "reviews.verdict": {"clear", "watch", "ground", "unknown"},
    "reviews.findings.level": {"clear", "watch", "ground", "unknown"},
    "reviews.checks.outcome": {"passed", "found", "not-judged"},
    "reviews.checks.reason": {
        "no-column",
        "not-understood",
        "too-slow",
        "telemetry-lost",
        "no-load",
        "uncertain",
        "no-counterpart",
        "too-few-flights",
        "no-level",
        "calm",
        "regulated",
        "standby",
        "unlogged",
        "explained",
        None,
    },
    "reviews.flights.kind": {"flight", "bench"},
    "reviews.flights.phases.kind": {"ground", "stir", "flight", "redundancy-check"},
    "reviews.flights.events.phase": {"ground", "stir", "flight", "redundancy-check"},
    "reviews.flights.events.kind": {"sag", "shift", "undervoltage", "spike", "brownout"},
    "reviews.flights.events.origin": {"load", "contact", "supply", "pack", "sensor", "unknown"},
    "reviews.flights.events.evidence": {"real", "telemetry", "unknown"},
    "reviews.flights.resistances.kind": {"source", "branch", "apparent"},
    "reviews.flights.margins.cases.case": {"pack-lost", "return-level", "all-stalled"},
}
CODES = {
    "sag-unexplained", "margin-low", "brownout", "restart", "undervoltage", "lead-undersized",
    "branch-resistance-high", "source-resistance-high", "pack-share", "pack-out", "pack-low",
    "regulator-droop", "switch-step", "servo-not-resting", "current-balance", "capacity-mismatch",
    "sensor-offset", "log-too-thin",
}  # fmt: skip


def loads(text: str) -> Any:
    def refuse(name: str) -> Any:
        raise AssertionError(f"{name} is no JSON")

    return json.loads(text, parse_constant=refuse)


def walk(value: Any, path: str = "") -> Any:
    """Every object with the dotted path of keys that leads to it."""
    if isinstance(value, dict):
        yield path, value
        for key, part in value.items():
            yield from walk(part, f"{path}.{key}".lstrip("."))
    elif isinstance(value, list):
        for part in value:
            yield from walk(part, path)


def with_holes(text: str) -> str:
    """The log with rows missing, all values blank, one false reading, and a counter begun anew."""
    rows = [line.split(",") for line in text.splitlines()]
    out = [",".join([*rows[0], "Bus used [mAh]"])]
    for k, row in enumerate(rows[1:]):
        if 400 <= k < 440:
            continue
        used = k // 4 if k < 500 else (k - 500) // 4
        cells = [*row, str(used)]
        if k == 100:
            cells[1] = "0.00"
        if 520 <= k < 560:
            cells[1:] = [""] * (len(cells) - 1)
        out.append(",".join(cells))
    return "\n".join(out) + "\n"


@pytest.fixture(scope="module")
def document(tmp_path_factory: pytest.TempPathFactory, log_text: str, runner) -> Any:
    """The reviews of all sample logs, of one with holes, and of a file that is none, as printed."""
    from telemetry.cli import main

    assert SAMPLES
    folder = tmp_path_factory.mktemp("contract")
    (folder / "empty.csv").touch()
    (folder / "holes.csv").write_text(with_holes(log_text))
    result = runner.invoke(main, ["review", "--json", *map(str, SAMPLES), str(folder)])
    assert result.exit_code == 2
    return loads(result.stdout)


def test_every_object_has_every_key(document) -> None:
    seen = set()
    for path, item in walk(document):
        if path in KEYS:
            seen.add(path)
            assert KEYS[path] <= set(item), path
    assert set(KEYS) == seen, "every kind of object is there to be looked at"


def test_the_schema_and_the_errors(document) -> None:
    assert document["schema"] == "busbook.review/1"
    assert len(document["reviews"]) == len(SAMPLES) + 1
    (error,) = document["errors"]
    assert error["file"].endswith("empty.csv")
    assert error["message"].endswith(".")


def test_every_type_is_that_of_the_contract(document, contract_breaches) -> None:
    assert contract_breaches(document) == []


def test_words_come_from_the_lists(document) -> None:
    for path, item in walk(document):
        for key, value in item.items():
            allowed = WORDS.get(f"{path}.{key}")
            assert allowed is None or value in allowed, (path, key, value)
        if path == "reviews.findings":
            assert item["code"] in CODES
            assert isinstance(item["explanations"], list)
            assert item["advice"]


def test_what_carries_a_unit_is_a_number_or_null(document) -> None:
    units = ("_s", "_v", "_a", "_mah", "_mohm", "_vs", "_hz")
    for path, item in walk(document):
        for key, value in item.items():
            if key.endswith(units) and not isinstance(value, list | dict):
                assert value is None or type(value) in (int, float), (path, key, value)


def test_numbers_make_sense(document) -> None:
    for path, item in walk(document):
        if "start_s" in item and "end_s" in item and item["start_s"] is not None:
            assert 0 <= item["start_s"] <= item["end_s"], (path, item)
        if path == "reviews.flights.resistances" and item["mohm"] is not None:
            assert item["low_mohm"] <= item["mohm"] <= item["high_mohm"]
        if path == "reviews.flights.events" and item["explained"] is not None:
            assert 0 <= item["explained"] <= 1
        if path == "reviews.flights.events" and item["depth_v"] is not None:
            assert item["depth_v"] == pytest.approx(item["reference_v"] - item["residual_v"])
        if path == "reviews.flights.margins" and item["observed_v"] is not None:
            assert item["observed_v"] == pytest.approx(item["lowest_v"] - item["restart_v"])


def test_phases_lie_in_their_flight_and_leave_no_hole(document) -> None:
    for review in document["reviews"]:
        for flight in review["flights"]:
            phases = flight["phases"]
            assert phases[0]["start_s"] == flight["start_s"]
            assert phases[-1]["end_s"] == flight["end_s"]
            for one, next_one in itertools.pairwise(phases):
                assert one["end_s"] == next_one["start_s"]


def test_what_was_not_logged_is_null_and_not_nothing(run, tmp_path) -> None:
    path = tmp_path / "voltage.csv"
    path.write_text("t [s],Bus U [V]\n" + "".join(f"{k},{6 + 0.01 * (k % 3)}\n" for k in range(60)))
    (review,) = loads(run("review", path, "--json").stdout)["reviews"]
    assert review["log"]["start"] is None
    (flight,) = review["flights"]
    assert flight["kind"] == "bench"
    for charge in flight["charge"]:
        assert charge["integrated_mah"] is None
    for resistance in flight["resistances"]:
        assert resistance["mohm"] is None
    for event in flight["events"]:
        assert event["peak_a"] is None
