from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.report.writers.json import document, dumps
from telemetry.results import Finding, Level, Margin, Review

# The contract "busbook.review/1": every key is always there. None in a tuple: may be null.
REVIEW_KEYS = {
    "log": "file sha256 rows start duration_s encoding separator decimal layout",
    "quality": "row_s shortest_sure_dip_s gaps restarts dropouts spurious",
}
LIST_KEYS = {
    ("columns",): "column quantity place unit reason update_s resolution used",
    ("quality", "gaps"): "start_s end_s",
    ("quality", "restarts"): "time_s place",
    ("quality", "dropouts"): "place start_s end_s",
    ("flights",): "kind start_s end_s phases stirs events resistances charge margins servos",
    ("flights", "phases"): "kind start_s end_s",
    ("flights", "stirs"): "start_s end_s rhythm_hz places",
    ("flights", "stirs", "places"): "place rest_a mean_a p95_a peak_a mah lowest_v sag_mohm",
    ("flights", "events"): (
        "kind place start_s end_s truncated reference_v residual_v depth_v deficit_vs peak_a phase "
        "explained explained_by origin evidence"
    ),
    ("flights", "resistances"): "kind place mohm low_mohm high_mohm updates expected_mohm",
    ("flights", "charge"): "place logged_mah integrated_mah share start_v end_v",
    ("flights", "margins"): "place lowest_v restart_v observed_v cases",
    ("flights", "margins", "cases"): "case current_a voltage_v low_v high_v",
    ("flights", "servos"): (
        "place outputs drives travel_a_per_pct_s hold_a_per_pct low high condition_index separable"
    ),
    ("checks",): "code question place outcome reason sees essential why next_time",
    ("findings",): ("code level place servo title evidence explanations confirm advice"),
}
NUMBERS = ("_s", "_v", "_a", "_mohm", "_mah", "_hz", "_vs")


@pytest.fixture(scope="module")
def content(review: Review) -> dict[str, Any]:
    return document([review], [("broken.csv", "broken.csv: no time column.")])


def members(content: Any, path: tuple[str, ...]) -> list[dict[str, Any]]:
    found = [content]
    for key in path:
        found = [
            row
            for part in found
            for row in (part[key] if isinstance(part[key], list) else [part[key]])
        ]
    return found


def test_the_whole_has_its_keys(content: dict[str, Any]) -> None:
    assert set(content) == {"schema", "busbook", "errors", "reviews"}
    assert content["schema"] == "busbook.review/1"
    assert content["errors"] == [{"file": "broken.csv", "message": "broken.csv: no time column."}]
    (one,) = content["reviews"]
    assert {"log", "columns", "quality", "flights", "findings", "verdict"} <= set(one)
    assert one["verdict"] == "ground"
    for part, keys in REVIEW_KEYS.items():
        assert set(keys.split()) <= set(one[part])


@pytest.mark.parametrize("path", LIST_KEYS, ids="/".join)
def test_every_member_has_every_key(content: dict[str, Any], path: tuple[str, ...]) -> None:
    rows = members(content["reviews"][0], path)
    assert rows
    for row in rows:
        assert set(LIST_KEYS[path].split()) <= set(row)


def walk(value: Any, key: str = "") -> list[tuple[str, Any]]:
    if isinstance(value, dict):
        return [pair for k, v in value.items() for pair in walk(v, k)]
    if isinstance(value, list):
        return [pair for v in value for pair in walk(v, key)]
    return [(key, value)]


def test_only_plain_json_values_and_numbers_where_units_are_named(content: dict[str, Any]) -> None:
    for key, value in walk(content):
        assert type(value) in (str, int, float, bool, type(None)), key
        if key.endswith(NUMBERS):
            assert value is None or type(value) in (int, float), key


def test_what_is_not_a_number_is_null_everywhere(make_review: Callable[..., Review]) -> None:
    review = make_review(seconds=30.0)
    flight = replace(
        review.flights[0],
        margins=(
            Margin(place="bus", lowest_v=float("nan"), restart_v=3.5, observed_v=float("inf")),
        ),
    )
    finding = Finding(
        code="x",
        level=Level.WATCH,
        place=None,
        title="t",
        evidence={"a_v": float("nan"), "b_v": np.float64(4.5), "n": np.int64(3)},  # type: ignore[dict-item]
    )
    text = dumps(document([replace(review, flights=(flight,), findings=(finding,))]))
    assert "NaN" not in text
    assert "Infinity" not in text
    one = json.loads(text)["reviews"][0]
    assert one["flights"][0]["margins"][0]["lowest_v"] is None
    assert one["flights"][0]["margins"][0]["observed_v"] is None
    assert one["findings"][0]["evidence"] == {"a_v": None, "b_v": 4.5, "n": 3}
    assert not any(isinstance(v, float) and math.isnan(v) for _, v in walk(one))


def test_it_reads_back_as_it_was_and_is_ascii(content: dict[str, Any]) -> None:
    text = dumps(content)
    assert json.loads(text) == content
    assert text.isascii()
    assert dumps(content) == text


def test_text_that_no_file_system_could_decode_passes(make_review: Callable[..., Review]) -> None:
    text = dumps(document([make_review(seconds=30.0, file="a\udce4.csv")]))
    assert text.isascii()


def test_a_bare_log_has_all_parts_and_no_date(bare_review: Review) -> None:
    (one,) = document([bare_review])["reviews"]
    assert one["log"]["start"] is None
    assert one["flights"] == []
    assert one["verdict"] == "clear"
    assert one["quality"]["shortest_sure_dip_s"] is None


def test_no_review_at_all() -> None:
    assert document([])["reviews"] == []
