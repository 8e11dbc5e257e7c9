"""The report of a review or a history as HTML, PDF or JSON: given back, or written to a file.

These are functions, not methods, because a review is a record: it knows no report.
"""

from __future__ import annotations

from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, overload

from telemetry.model.errors import OutputError, UnknownSetting
from telemetry.report.writers import json as report_json
from telemetry.report.writers.writing import write_bytes
from telemetry.results import History, Review

if TYPE_CHECKING:
    from telemetry.report.document import Document
    from telemetry.report.draw import Scene
    from telemetry.report.draw_history import HistoryScene

Target = str | PathLike[str]


@overload
def to_html(subject: Review | History, path: None = None) -> str: ...
@overload
def to_html(subject: Review | History, path: Target) -> None: ...
def to_html(subject: Review | History, path: Target | None = None) -> str | None:
    """Write the report as one HTML page that fetches nothing, or give its text.

    Parameters
    ----------
    subject : Review or History
    path : path, optional
        Where to; folders are made, an existing file is replaced. Without it the text is returned.

    Raises
    ------
    OutputError
        If the file cannot be written, or is the log itself; nothing half-written stays.
    """
    from telemetry.report.writers import html

    target = _target(subject, path)
    if isinstance(subject, Review):
        page = html.render(*_of_review(subject))
    else:
        page = html.page(*_of_history(subject))
    if target is None:
        return page
    write_bytes(target, page.encode("utf-8", "replace"))
    return None


@overload
def to_json(subject: Review | History, path: None = None) -> str: ...
@overload
def to_json(subject: Review | History, path: Target) -> None: ...
def to_json(subject: Review | History, path: Target | None = None) -> str | None:
    """Write what ``busbook review --json`` or ``busbook history --json`` prints, or give it.

    The document is ``busbook.review/1`` with one review, or ``busbook.history/1``; ASCII.

    Parameters
    ----------
    subject : Review or History
    path : path, optional
        As for :func:`to_html`; so are the errors.
    """
    target = _target(subject, path)
    if isinstance(subject, Review):
        text = report_json.dumps(report_json.document([subject]))
    else:
        text = report_json.dumps(report_json.history_document(subject))
    if target is None:
        return text
    write_bytes(target, text.encode("ascii"))
    return None


@overload
def to_pdf(subject: Review | History, path: None = None, *, paper: str = "a4") -> bytes: ...
@overload
def to_pdf(subject: Review | History, path: Target, *, paper: str = "a4") -> None: ...
def to_pdf(
    subject: Review | History, path: Target | None = None, *, paper: str = "a4"
) -> bytes | None:
    """Write the report as PDF, or give its bytes.

    Parameters
    ----------
    subject : Review or History
    path : path, optional
        As for :func:`to_html`; so are the errors.
    paper : str
        "a4" or "letter".

    Raises
    ------
    UnknownSetting
        For a paper that is not known.
    """
    from telemetry.report.writers import pdf
    from telemetry.report.writers.paper import SIZES_PT

    if paper not in SIZES_PT:
        raise UnknownSetting(f"there is no paper '{paper}'", hint=f"papers: {', '.join(SIZES_PT)}")
    target = _target(subject, path)
    document, drawer = _of_review(subject) if isinstance(subject, Review) else _of_history(subject)
    sheets = pdf.render(document, drawer, paper)
    if target is None:
        return sheets
    write_bytes(target, sheets)
    return None


# Both load the library that draws, which the rest of the package does without.
def _of_review(review: Review) -> tuple[Document, Scene]:
    from telemetry.report.documents.of_review import document_of
    from telemetry.report.draw import Scene

    return document_of(review), Scene.of(review)


def _of_history(history: History) -> tuple[Document, HistoryScene]:
    from telemetry.report.documents.across import Across
    from telemetry.report.documents.of_history import history_document
    from telemetry.report.draw_history import HistoryScene

    return history_document(history), HistoryScene.of(Across.of(history))


def _target(subject: Review | History, path: Target | None) -> Path | None:
    """The path, if there is one and it is not the log that was read."""
    target = None if path is None else Path(path)
    if target is not None and isinstance(subject, Review):
        log = Path(subject.log.provenance.file)
        if target.is_file() and log.is_file() and target.samefile(log):
            raise OutputError("is the log itself", path=target, hint="name another file")
    return target
