"""A book that somebody else made up: nothing outside it is touched, and nothing bursts."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.book import Logbook
from telemetry.book.files.names import file_name
from telemetry.book.maps import Learnt
from telemetry.book.records import Note, Recording, in_order
from telemetry.model.errors import BookError

Make = Callable[..., Any]

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=5,
)
RECORD = {
    "id": "0123456789abcdef",
    "sha256": "0123456789abcdef" * 4,
    "size_bytes": 1,
    "stored_bytes": 1,
    "file": "a.csv",
    "aircraft": "tern",
    "order": 1,
    "added": "2026-01-01T00:00:00+00:00",
    "start": None,
    "start_source": "order of adding",
    "flights": [
        {
            "id": "0123456789abcdef-0",
            "first_row": 0,
            "rows": 1,
            "start_s": 0.0,
            "end_s": 0.0,
            "kind": "",
        }
    ],
    "settings": {},
    "row_interval_s": None,
}
NOTE = {
    "id": "x",
    "aircraft": "tern",
    "kind": "checked",
    "text": "t",
    "place": None,
    "date": "2026-01-01",
    "given": True,
    "order": 2,
    "made": "2026-01-01T00:00:00+00:00",
}
LEARNT = {
    "aircraft": "tern",
    "fingerprint": "0",
    "header": "",
    "columns": ["a"],
    "settings": {},
    "models": [],
}


def test_the_documents_themselves_are_sound() -> None:
    assert in_order([Recording.of(RECORD)], [Note.of(NOTE)])
    assert Recording.of(Recording.of(RECORD | {"later": 1}).document()).document() == RECORD
    assert Note.of(NOTE).document() == NOTE
    assert Learnt.of(LEARNT).aircraft == "tern"


@settings(deadline=None)
@given(st.sampled_from(sorted(RECORD)), VALUES)
def test_a_record_is_usable_or_refused(key: str, value: Any) -> None:
    try:
        found = Recording.of(RECORD | {key: value})
    except BookError:
        return
    in_order([found, Recording.of(RECORD)], [Note.of(NOTE)])
    json.dumps(found.document())


@settings(deadline=None)
@given(st.sampled_from(sorted(NOTE)), VALUES)
def test_a_note_is_usable_or_refused(key: str, value: Any) -> None:
    try:
        found = Note.of(NOTE | {key: value})
    except BookError:
        return
    in_order([Recording.of(RECORD)], [found])


@settings(deadline=None)
@given(st.sampled_from(sorted(LEARNT)), VALUES)
def test_what_was_learnt_is_usable_or_refused(key: str, value: Any) -> None:
    try:
        found = Learnt.of(LEARNT | {key: value})
    except BookError:
        return
    assert found.aircraft


@pytest.mark.parametrize(
    "change",
    [
        {"aircraft": "../../out"},
        {"aircraft": "TERN"},
        {"id": "../../../out"},
        {"file": "../out.csv"},
        {"file": "..\\out.csv"},
        {"file": ".."},
        {"flights": [RECORD["flights"][0] | {"id": "../../out-0"}]},
        {"flights": [RECORD["flights"][0] | {"id": "fedcba9876543210-0"}]},
        {"flights": []},
        {"start": "yesterday"},
    ],
    ids=str,
)
def test_records_that_point_elsewhere_are_refused(
    change: dict[str, Any], book: Logbook, make: Make, tmp_path: Path
) -> None:
    made = make()
    outcome = book.add(made.log, aircraft="tern", source=made.data)
    path = book.path / "originals" / f"{outcome.recording}.json"
    doc = json.loads(path.read_text(encoding="utf-8"))
    if "flights" not in change:
        change = change | {"flights": doc["flights"]}
    evil = json.dumps(doc | change)
    path.write_text(evil)
    with pytest.raises(BookError, match="this file of the book is damaged"):
        book.flights("tern")
    before = sorted(p for p in tmp_path.rglob("*") if not p.is_relative_to(book.path))
    book.check_book(lambda *_: made.log)
    assert sorted(p for p in tmp_path.rglob("*") if not p.is_relative_to(book.path)) == before
    assert book.flights("tern")[0].id == outcome.flights[0]


def test_a_record_under_another_name_is_refused(book: Logbook, make: Make) -> None:
    made = make()
    outcome = book.add(made.log, aircraft="tern", source=made.data)
    folder = book.path / "originals"
    shutil.copy(folder / f"{outcome.recording}.json", folder / "0123456789abcdef.json")
    with pytest.raises(BookError, match="this file of the book is damaged"):
        book.recordings()


def test_a_parquet_bomb_is_not_unpacked(book: Logbook, make: Make) -> None:
    made = make()
    (flight,) = book.add(made.log, aircraft="tern", source=made.data).flights
    path = book.path / "flights" / "aircraft=tern" / f"{flight}.parquet"
    schema = pq.read_schema(path)
    rows = 20_000_000
    table = pa.table({"time_s": pa.array([0.0]).take(pa.repeat(0, rows))})
    pq.write_table(table.replace_schema_metadata(schema.metadata), path, compression="zstd")
    del table
    assert path.stat().st_size < 200_000
    before = pa.default_memory_pool().max_memory()
    with pytest.raises(BookError, match="this flight's table is damaged"):
        book.read(flight)
    assert pa.default_memory_pool().max_memory() - before < 10_000_000


def test_deep_json_is_refused(book: Logbook, make: Make) -> None:
    made = make()
    outcome = book.add(made.log, aircraft="tern", source=made.data)
    path = book.path / "originals" / f"{outcome.recording}.json"
    for text in ("[" * 100_000, '{"a":' * 100_000, '{"order": NaN}', '{"order": Infinity}'):
        path.write_text(text)
        with pytest.raises(BookError, match="this file of the book is damaged"):
            book.flights("tern")


def test_metadata_that_is_not_ours_is_refused(book: Logbook, make: Make) -> None:
    made = make()
    (flight,) = book.add(made.log, aircraft="tern", source=made.data).flights
    path = book.path / "flights" / "aircraft=tern" / f"{flight}.parquet"
    table = pq.read_table(path, partitioning=None)
    ours = table.schema.metadata
    for name, value in (
        (b"busbook.channels", b"{"),
        (b"busbook.channels", b"3"),
        (b"busbook.channels", b'[{"quantity": "x"}]'),
        (b"busbook.channels", b'[{"key": 1}]'),
        (b"busbook.provenance", b"[]"),
        (b"busbook.provenance", b'{"fil": 1}'),
    ):
        pq.write_table(table.replace_schema_metadata(ours | {name: value}), path)
        with pytest.raises(BookError, match="this table has not the metadata of a flight"):
            book.read(flight)
    pq.write_table(table.replace_schema_metadata(None), path)
    with pytest.raises(BookError, match="this table has not the metadata of a flight"):
        book.read(flight)
    assert book.check_book(lambda *_: made.log).problems == ()


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ("a.csv", "a.csv"),
        ("/card/LOGS/a.csv", "a.csv"),
        ("C:\\card\\a..csv", "a..csv"),
        ("", "unnamed"),
        ("..", "unnamed"),
        ("a/..", "unnamed"),
        ("/", "unnamed"),
    ],
)
def test_file_names_lose_their_folders(given: str, name: str) -> None:
    assert file_name(given) == name
