"""Speed and size of the reports of a 15-minute, 10 Hz, 24-column log."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import pytest

from telemetry.report.documents.of_review import document_of
from telemetry.report.output import to_html, to_pdf
from telemetry.report.writers import json, terminal
from telemetry.results import Review


def test_html(benchmark: Any, review: Review) -> None:
    assert review.log.frame.shape == (9000, 24)
    text = benchmark.pedantic(to_html, args=(review,), rounds=5, warmup_rounds=1)
    assert len(text.encode("utf-8")) < 1_500_000
    assert benchmark.stats["median"] < 5.0


def test_terminal(benchmark: Any, review: Review) -> None:
    benchmark.pedantic(
        lambda one: terminal.text_of(document_of(one)), args=(review,), rounds=5, warmup_rounds=1
    )


def test_json(benchmark: Any, review: Review) -> None:
    benchmark.pedantic(lambda: json.dumps(json.document([review])), rounds=5, warmup_rounds=1)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_pdf(benchmark: Any, review: Review, tmp_path: Path, paper: str) -> None:
    path = tmp_path / "report.pdf"
    benchmark.pedantic(partial(to_pdf, paper=paper), args=(review, path), rounds=3, warmup_rounds=1)
