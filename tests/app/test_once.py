"""What a review costs: its readings, its document and its packs are worked out once each."""

from __future__ import annotations

import json
import pickle
import pkgutil
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

import telemetry
from telemetry.app.cache import measured
from telemetry.app.jobs import Job, reviewed
from telemetry.circuit.together import together
from telemetry.measure.packs import pack_outs
from telemetry.readings import take_readings
from telemetry.report import picture
from telemetry.report.documents.of_review import document_of

LOG = Path(__file__).parents[2] / "sample_logs" / "tern-flight-01.csv"
COUNTED = (take_readings, document_of, pack_outs)


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often each function is called, by whatever name a module knows it."""
    counts: Counter[str] = Counter()
    # All of them now: a module first imported while they are counted would keep the counting.
    for found in pkgutil.walk_packages(telemetry.__path__, "telemetry."):
        if not found.name.endswith("__main__"):
            import_module(found.name)

    def counting(function: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **more: Any) -> Any:
            counts[function.__name__] += 1
            return function(*args, **more)

        return call

    for function in COUNTED:
        instead = counting(function)
        for name, module in list(sys.modules.items()):
            if name.split(".")[0] == "telemetry":
                for known, value in list(vars(module).items()):
                    if value is function:
                        monkeypatch.setattr(module, known, instead)
    return counts


def test_one_review_with_all_its_reports(calls: Counter[str], tmp_path: Path) -> None:
    made = reviewed(
        Job(
            sources=(str(LOG),), folder=tmp_path, how={}, book=tmp_path / "book", name=None,
            craft=None, formats=("html", "pdf"), paper="a4", as_json=False, indexed=True,
        )
    )  # fmt: skip
    assert made.failures == ()
    assert made.entry is not None
    assert set(made.reports) == {"html", "pdf"}
    assert calls == {"take_readings": 1, "document_of": 1, "pack_outs": 1}


def test_a_document_without_reports_needs_no_page(calls: Counter[str], tmp_path: Path) -> None:
    made = reviewed(
        Job(
            sources=(str(LOG),), folder=tmp_path, how={}, book=tmp_path / "book", name=None,
            craft=None, formats=(), paper="a4", as_json=True,
        )
    )  # fmt: skip
    assert made.document
    assert calls == {"take_readings": 1, "pack_outs": 1}


def test_features_budget_and_figures_take_no_readings_of_their_own(calls: Counter[str]) -> None:
    one = telemetry.review(telemetry.read_log(LOG))
    assert calls == {"take_readings": 1, "pack_outs": len(one.flights)}
    calls.clear()
    measured(one)
    together([one, one])
    picture.draw(one)
    assert set(calls) == {"document_of"}


def test_a_review_travels_with_its_readings_and_is_told_without_them() -> None:
    """To take them again costs more than to send them, which is about what the log itself costs."""
    one = telemetry.review(telemetry.read_log(LOG))
    there = pickle.loads(pickle.dumps(one))
    assert there.findings == one.findings
    assert measured(there).document() == measured(one).document()
    assert "readings" not in repr(one)
    assert "readings" not in json.loads(telemetry.to_json(one))["reviews"][0]
    assert replace(one, readings=one.readings.within(0.0, 1.0)) == one
