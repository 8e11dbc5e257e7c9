"""The machine-readable form of reviews, schema ``busbook.review/1``.

Every key is always present. A quantity that was not measured is null, never 0 and never NaN.
Times are seconds from the first row of the file.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import is_dataclass
from enum import Enum
from typing import TYPE_CHECKING, Any

from telemetry.model.version import program_version
from telemetry.results import Answer, FlightPair, History, Review, as_dict

if TYPE_CHECKING:
    from telemetry.circuit.budget_records import Budget

SCHEMA = "busbook.review/1"
BUDGET_SCHEMA = "busbook.budget/1"
HISTORY_SCHEMA = "busbook.history/1"
COMPARE_SCHEMA = "busbook.compare/1"


def document(reviews: Sequence[Review], errors: Iterable[tuple[str, str]] = ()) -> dict[str, Any]:
    """All reviews of one run, and the files that could not be read, as one document.

    Parameters
    ----------
    reviews : sequence of Review
    errors : iterable of (file, message)

    Returns
    -------
    dict
        Of str, int, float, bool, None, list and dict only.
    """
    return whole(map(review_document, reviews), errors)


def whole(
    reviews: Iterable[Mapping[str, Any]], errors: Iterable[tuple[str, str]] = ()
) -> dict[str, Any]:
    """As :func:`document`, of reviews that are plain values already."""
    return {
        "schema": SCHEMA,
        "busbook": program_version(),
        "errors": [{"file": file, "message": message} for file, message in errors],
        "reviews": list(reviews),
    }


def history_document(history: History) -> dict[str, Any]:
    """What all flights of one aircraft tell, as one document of schema ``busbook.history/1``."""
    return {
        "schema": HISTORY_SCHEMA,
        "busbook": program_version(),
        "aircraft": history.name,
        "flights": _clean(history.flights),
        "notes": _clean(history.notes),
        "features": _clean(history.features),
        "trends": _clean(history.trends),
        "findings": _clean(history.findings),
        "checks": _clean(history.checks),
        "not_judged": _clean(history.not_judged),
        "fleet": None if history.fleet is None else _clean(history.fleet),
        "limits": _clean(history.aircraft.limits.model_dump()),
        "answer": _answer(history.answer),
        "verdict": history.verdict.value,
    }


def pair_content(pair: FlightPair) -> dict[str, Any]:
    """Two flights held against one another, as one document of schema ``busbook.compare/1``."""
    return {
        "schema": COMPARE_SCHEMA,
        "busbook": program_version(),
        "aircraft": pair.history.name,
        "aligned_at": pair.alignment.value,
        "flights": [
            {"number": one.number, "aligned_s": _clean(one.aligned_s), **_clean(one.listed)}
            for one in (pair.first, pair.second)
        ],
        "differences": [{**_clean(d), "plain_to_see": d.plain_to_see} for d in pair.differences],
        "answer": _answer(pair.history.answer),
    }


def budget_document(
    budget: Budget, files: Sequence[str], errors: Iterable[tuple[str, str]] = ()
) -> dict[str, Any]:
    """A budget as one document of schema ``busbook.budget/1``.

    Parameters
    ----------
    budget : Budget
    files : sequence of str
        The logs it rests on; empty for a design.
    errors : iterable of (file, message)
        Logs that could not be read.
    """
    return {
        "schema": BUDGET_SCHEMA,
        "busbook": program_version(),
        "errors": [{"file": file, "message": message} for file, message in errors],
        "files": list(files),
        **_clean(budget),
    }


def dumps(content: dict[str, Any]) -> str:
    """A document as ASCII text, which every console can show; same document, same text."""
    return json.dumps(content, allow_nan=False, indent=2) + "\n"


def _clean(value: Any) -> Any:
    """Plain JSON values: records as objects, enumerations by value, what is not finite as null."""
    if is_dataclass(value):
        return {name: _clean(part) for name, part in as_dict(value).items()}
    if isinstance(value, Enum):
        return _clean(value.value)
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, Mapping):
        return {str(k): _clean(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_clean(v) for v in value]
    number = value.item() if hasattr(value, "item") else value
    if isinstance(number, float) and not math.isfinite(number):
        return None
    return number


def review_document(review: Review) -> dict[str, Any]:
    """One review as plain JSON values: a member of "reviews" of the document."""
    origin = review.log.provenance
    return {
        "log": _clean(
            {
                "file": origin.file,
                "sha256": origin.sha256,
                "rows": origin.rows,
                "start": origin.start,
                "duration_s": review.log.duration_s,
                "encoding": origin.encoding,
                "separator": origin.separator,
                "decimal": origin.decimal,
                "layout": origin.layout,
                "rows_refused": origin.rows_refused,
                "time_form": origin.time_form,
                "start_source": origin.start_source,
                "notes": origin.notes,
            }
        ),
        "aircraft": {"name": review.aircraft.name, "inferred": review.aircraft.inferred},
        "limits": _clean(review.limits.model_dump()),
        "columns": _clean(review.columns),
        "quality": _clean(review.quality),
        "flights": _clean(review.flights),
        "checks": _clean(review.checks),
        "findings": _clean(review.findings),
        "compared": _clean(review.compared),
        "marks": _clean(review.marks),
        "answer": _answer(review.answer),
        "verdict": review.verdict.value,
    }


def _answer(answer: Answer) -> dict[str, Any]:
    """The answer; its ``source`` is called ``from``, which is no name in Python."""
    told: dict[str, Any] = _clean(answer)
    return {"from" if key == "source" else key: value for key, value in told.items()}
