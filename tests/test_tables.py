"""What a pandas user meets: short texts of the records, and every list of them as a table."""

from __future__ import annotations

import json
import re
from dataclasses import fields, is_dataclass, replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

import telemetry
from telemetry.report.writers import json as report_json
from telemetry.results import Event, Finding, Level, Stir, StirPlace
from telemetry.results.tables import shown_fields

EVIL = 'a<img src=x onerror="alert(1)">&amp;\x1b[31m\u202e.csv'


class _Cells(HTMLParser):
    """The tags of a page, and the texts in them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.texts: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: Any) -> None:  # noqa: ARG002 - as it is called
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


@pytest.fixture
def evil(make_review: Any) -> Any:
    """A review of a log whose file and findings carry markup and control characters."""
    one = make_review(seconds=20.0, file=EVIL)
    found = tuple(replace(f, title=f"{EVIL} {f.title}") for f in one.findings)
    return replace(one, findings=found, aircraft=one.aircraft.model_copy(update={"name": EVIL}))


# Short texts.


def test_a_review_is_told_in_five_lines(review: Any) -> None:
    lines = repr(review).splitlines()
    assert len(lines) <= 5
    assert max(map(len, lines)) <= 130
    text = " ".join(repr(review).split())
    counts = {level: sum(f.level is level for f in review.findings) for level in Level}
    for part in (
        "evening.csv",
        "2026-05-14T10:32:00",
        "899.9 s",
        "Tern (invented)",
        f"verdict {review.verdict.word}: ",
        f"findings {len(review.findings)} ({counts[Level.GROUND]} ground",
    ):
        assert part in text, part


def test_a_log_is_told_in_four_lines(review: Any) -> None:
    text = repr(review.log)
    assert len(text.splitlines()) == 4
    for part in ("evening.csv", "2026-05-14T10:32:00, 899.9 s, 9000 rows", "1 not understood"):
        assert part in text, part
    assert "pack 1, pack 2, bus" in text


def test_a_history_is_told_in_five_lines(history: Any) -> None:
    text = " ".join(repr(history).split())
    assert len(repr(history).splitlines()) == 5
    for part in (
        "History of tern",
        "flights 12, 2026-04-01 to 2026-04-12; 2 trends, 3 notes",
        "verdict Ground it: right wing draws 45 % more than usual",
        "findings 2 (1 ground, 1 watch)",
        "not judged receiver 1: no voltage",
    ):
        assert part in text, part


def test_a_logbook_tells_its_aircraft_and_flights(tmp_path: Path) -> None:
    book = telemetry.Logbook(tmp_path / "book")
    assert repr(book).split()[-4:] == ["aircraft", "none", "flights", "0"]
    name = "sample_logs/tern-bench-stir.csv"
    log = telemetry.read_log(Path(__file__).parents[1] / name)
    book.add(log, aircraft="tern")
    assert repr(book).split()[-4:] == ["aircraft", "tern", "flights", "1"]
    assert str(tmp_path / "book") in repr(book)
    assert "<td>tern</td>" in book._repr_html_()


def test_a_logbook_that_is_gone_can_still_be_shown(tmp_path: Path) -> None:
    book = telemetry.Logbook(tmp_path / "book")
    (tmp_path / "book" / "format.toml").unlink()
    (tmp_path / "book").rmdir()
    assert "flights" in repr(book)


@pytest.mark.parametrize("kind", ["review", "log", "history", "tables"])
def test_the_table_for_a_notebook_says_the_same(kind: str, review: Any, history: Any) -> None:
    one = {"review": review, "log": review.log, "history": history, "tables": history.tables}[kind]
    cells = _Cells(one._repr_html_())
    assert set(cells.tags) == {"table", "caption", "tbody", "tr", "th", "td"}
    assert " ".join(cells.texts).split() == repr(one).split()


@pytest.mark.parametrize("kind", ["review", "log", "history"])
def test_names_from_a_file_are_harmless(kind: str, evil: Any, make_history: Any) -> None:
    one = {"review": evil, "log": evil.log, "history": make_history(count=3, name=EVIL)}[kind]
    page = one._repr_html_()
    assert set(_Cells(page).tags) == {"table", "caption", "tbody", "tr", "th", "td"}
    for text in (page, repr(one)):
        assert all(c.isprintable() or c == "\n" for c in text)
    assert EVIL.partition("&")[0] in repr(one)  # and still legible


def test_a_long_name_does_not_make_a_long_text(make_review: Any) -> None:
    one = make_review(seconds=20.0, file="x" * 5000)
    assert len(repr(one)) < 800
    assert len(repr(one.log)) < 800


@pytest.mark.parametrize("level", list(Level))
def test_the_verdict_is_worded_as_on_the_page(level: Level, make_review: Any) -> None:
    found = (Finding(code="x", level=level, place=None, title="t"),)
    one = make_review(seconds=20.0, findings=found)
    page = telemetry.to_html(one)
    assert level.word in repr(one)
    assert level.word in page
    assert not re.search(r"\bsafe", repr(one) + one._repr_html_(), re.IGNORECASE)


def test_nothing_found_is_no_proof(bare_review: Any, make_history: Any) -> None:
    assert "Nothing found in this log; that is no proof that nothing is wrong" in repr(bare_review)
    clear = make_history(findings=())
    assert "Nothing found across these flights; that is no proof" in repr(clear)
    assert "Nothing found across these flights" in telemetry.to_html(clear)
    assert "verdict     Cannot be judged" in repr(make_history(findings=(), trends=()))


# Tables.


def _same(cell: Any, value: Any) -> bool:
    if value is None:
        return bool(pd.isna(cell))
    if isinstance(value, list):
        return list(cell) == list(map(tuple, value) if value and type(value[0]) is list else value)
    return bool(cell == value)


def _check(table: pd.DataFrame, records: list[dict[str, Any]]) -> None:
    """Each field of each record of the JSON stands in the table, under its own name."""
    assert len(table) == len(records)
    for (_, row), record in zip(table.iterrows(), records, strict=True):
        for key, value in record.items():
            if (isinstance(value, dict) and key != "evidence") or key in ("change", "closed_by"):
                for inner, part in (value or {}).items():
                    assert _same(row[f"{key}_{inner}"], part), (key, inner)
            elif key in table:
                assert _same(row[key], value), (key, row[key], value)
            else:
                assert all(isinstance(part, dict) for part in value), key  # a table of its own


def test_every_list_of_a_review_is_a_table_of_what_the_json_says(review: Any) -> None:
    told = report_json.document([review])["reviews"][0]
    tables = review.tables
    _check(tables["findings"], told["findings"])
    _check(tables["columns"], told["columns"])
    _check(tables["compared"], told["compared"])
    for name in ("gaps", "restarts", "dropouts", "spurious"):
        _check(tables[name], told["quality"][name])
    of_flights = {k for k, v in told["flights"][0].items() if isinstance(v, list)} - {"stirs"}
    assert len(of_flights) > 10
    for name in of_flights:
        records = [{"flight": n, **r} for n, f in enumerate(told["flights"], 1) for r in f[name]]
        _check(tables[name], records)
    stirs = [
        {"flight": 1, **{k: v for k, v in stir.items() if k != "places"}, **place}
        for stir in told["flights"][0]["stirs"]
        for place in stir["places"]
    ]
    _check(tables["stirs"], stirs)
    cases = [
        {"flight": 1, "place": m["place"], "restart_v": m["restart_v"], **case}
        for m in told["flights"][0]["margins"]
        for case in m["cases"]
    ]
    _check(tables["cases"], cases)
    assert len(stirs) > 2
    assert len(cases) == 2


def test_every_list_of_a_history_is_a_table_of_what_the_json_says(history: Any) -> None:
    told = report_json.history_document(history)
    for name in ("findings", "flights", "features", "trends", "notes"):
        _check(history.tables[name], told[name])
    points = history.tables["trend_points"]
    assert len(points) == sum(len(t["flights"]) for t in told["trends"])
    for trend in told["trends"]:
        mine = points[(points.code == trend["code"]) & (points.place == trend["place"])]
        assert list(mine["index"]) == trend["flights"]
        assert list(mine.flight) == [told["flights"][k]["id"] for k in trend["flights"]]
        for key in ("value", "reach", "score", "chart"):
            assert list(mine[key]) == trend[key]
        assert list(mine[mine.baseline]["index"]) == trend["baseline"]
    assert points.ewma.isna().all()


def test_tables_without_rows_have_the_same_columns_and_types(
    review: Any, bare_review: Any, history: Any, make_history: Any
) -> None:
    empty = make_history(count=3, flights=(), notes=(), features=(), trends=(), findings=())
    bare = replace(bare_review, compared=())
    for full, none in ((review.tables, bare.tables), (history.tables, empty.tables)):
        assert list(full) == list(none)
        for name in full:
            assert not len(none[name]), name
            assert len(none[name].columns), name
            pd.testing.assert_series_equal(full[name].dtypes, none[name].dtypes)


def test_the_type_of_a_column_is_that_of_its_field(review: Any) -> None:
    found = review.tables["findings"].dtypes
    assert found["level"].ordered
    assert list(found["level"].categories) == [str(level) for level in Level]
    assert (found["flight"], found["start_s"], found["change_rise"]) == (
        *("Int64", "float64", "float64"),
    )
    assert (found["title"], found["evidence"]) == ("string", "object")
    events = review.tables["events"].dtypes
    assert (events["flight"], events["truncated"], events["depth_v"]) == (
        *("int64", "bool", "float64"),
    )
    assert review.tables["parts"].dtypes["over"] == "boolean"


def test_levels_in_a_table_compare_by_gravity(review: Any) -> None:
    found = review.tables["findings"]
    grave = sum(f.level >= Level.WATCH for f in review.findings)
    assert 0 < grave < len(found)
    assert (found.level >= "watch").sum() == grave
    assert found.level.max() == review.verdict


def test_the_three_tables_of_old_are_the_same(review: Any) -> None:
    for name in ("events", "stirs", "resistances"):
        pd.testing.assert_frame_equal(getattr(review, name), review.tables[name])
    assert set(review.events) == {"flight", *(f.name for f in shown_fields(Event))}
    places = {f.name for f in fields(StirPlace)}
    assert set(review.stirs) == {"flight", *(f.name for f in fields(Stir)), *places} - {"places"}
    assert all(is_dataclass(f) for f in review.findings)  # records stay records


def test_a_table_that_is_none_is_told_with_those_there_are(review: Any) -> None:
    with pytest.raises(KeyError, match="no table 'event'; there are findings, flights"):
        review.tables["event"]
    assert "event" not in review.tables
    assert "events" in review.tables
    assert review.tables.get("event") is None
    assert review.tables._ipython_key_completions_() == list(review.tables)


def test_tables_of_a_real_review_can_be_kept(tmp_path: Path) -> None:
    root = Path(__file__).parents[1]
    one = telemetry.review(telemetry.read_log(root / "sample_logs" / "tern-flight-12.csv"))
    for name, table in one.tables.items():
        table.to_parquet(tmp_path / f"{name}.parquet")
        back = pd.read_parquet(tmp_path / f"{name}.parquet")
        assert list(back) == list(table)
    assert len(pd.read_parquet(tmp_path / "events.parquet")) == len(one.events) > 0


# The documents.


def test_json_is_the_document_of_the_command(tmp_path: Path, review: Any, history: Any) -> None:
    text = telemetry.to_json(review)
    assert json.loads(text) == report_json.document([review])
    assert json.loads(telemetry.to_json(history)) == report_json.history_document(history)
    assert telemetry.to_json(review, tmp_path / "new" / "r.json") is None
    assert (tmp_path / "new" / "r.json").read_text(encoding="utf-8") == text


@pytest.mark.parametrize("kind", ["review", "history"])
def test_html_and_pdf_are_given_or_written(
    kind: str, tmp_path: Path, make_review: Any, make_history: Any
) -> None:
    one = make_review(seconds=20.0) if kind == "review" else make_history(count=4)
    page = telemetry.to_html(one)
    assert page.lower().startswith("<!doctype html>")
    assert one.verdict.word in page
    assert telemetry.to_html(one, str(tmp_path / "r.html")) is None
    assert (tmp_path / "r.html").read_bytes().decode() == page
    assert telemetry.to_pdf(one, tmp_path / "r.pdf", paper="letter") is None
    sheets = (tmp_path / "r.pdf").read_bytes()
    assert sheets.startswith(b"%PDF-")
    assert b"/MediaBox [ 0 0 612 792 ]" in sheets  # Letter, 8.5 by 11 inches of 72 pt
    assert sorted(p.name for p in tmp_path.iterdir()) == ["r.html", "r.pdf"]


def test_a_report_is_never_written_over_its_log(tmp_path: Path, monkeypatch: Any) -> None:
    root = Path(__file__).parents[1]
    data = (root / "sample_logs" / "tern-bench-stir.csv").read_bytes()
    (tmp_path / "flight.csv").write_bytes(data)
    monkeypatch.chdir(tmp_path)
    one = telemetry.review(telemetry.read_log("flight.csv"))
    for write in (telemetry.to_html, telemetry.to_json, telemetry.to_pdf):
        with pytest.raises(telemetry.OutputError, match="is the log itself; name another file"):
            write(one, tmp_path / "flight.csv")
    assert (tmp_path / "flight.csv").read_bytes() == data


def test_what_cannot_be_written_is_told(tmp_path: Path, review: Any) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(telemetry.OutputError, match="cannot be written"):
        telemetry.to_json(review, tmp_path / "file" / "r.json")
    with pytest.raises(telemetry.UnknownSetting, match="no paper 'a3'; papers: a4, letter"):
        telemetry.to_pdf(review, tmp_path / "r.pdf", paper="a3")
    assert [p.name for p in tmp_path.iterdir()] == ["file"]
