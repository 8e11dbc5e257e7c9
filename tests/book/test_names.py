"""Names that become folders: safe on every system, whatever is typed or sent."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.book import Logbook, aircraft_key
from telemetry.model.errors import BookError

TRICKS = {
    "../x": "'/' is not allowed in it",
    "..": "needs a letter",
    "a/b": "'/' is not allowed in it",
    "a\\b": "is not allowed in it",
    "/etc": "'/' is not allowed in it",
    "C:": "':' is not allowed in it",
    "a\0b": "is not allowed in it",
    "a\u202eb": "is not allowed in it",  # turns the reading direction
    "a\u200bb": "is not allowed in it",  # no width
    "tern*": "'*' is not allowed in it",
    "%2e%2e": "'%' is not allowed in it",
    "<b>tern</b>": "is not allowed in it",
    "": "it is empty",
    " \t ": "it is empty",
    "x" * 61: "longer than 60 characters",
    "747": "needs a letter",
    "2026-05-14": "needs a letter",
    ".tern": "begins with . _ or -",
    "_tern": "begins with . _ or -",
    "--help": "begins with . _ or -",
    "tern.": "ends with a full stop",
    "CON": "Windows keeps this name for a device",
    "nul": "Windows keeps this name for a device",
    "Aux.2": "Windows keeps this name for a device",
    "com1": "Windows keeps this name for a device",
    "LPT9.txt": "Windows keeps this name for a device",
    "com\u00b2": "Windows keeps this name for a device",
}


@pytest.mark.parametrize("name", TRICKS, ids=repr)
def test_tricks_are_refused_with_the_reason(name: str, book: Logbook, make: Any) -> None:
    made = make()
    match = re.escape("cannot be the name of an aircraft: ") + ".*" + re.escape(TRICKS[name])
    with pytest.raises(BookError, match=match) as caught:
        book.add(made.log, aircraft=name, source=made.data)
    assert len(str(caught.value)) < 300
    assert str(caught.value).isprintable()
    for call in (book.flights, book.profile_path, book.notes, book.learnt, book.column_maps):
        with pytest.raises(BookError):
            call(name)
    assert [p.name for p in book.path.iterdir()] == ["format.toml"]


def test_one_aircraft_however_it_is_written() -> None:
    assert aircraft_key("  Große \t Möwe 3,1 m (2) ") == "große möwe 3,1 m (2)"
    assert aircraft_key(unicodedata.normalize("NFD", "Möwe")) == aircraft_key("MÖWE")
    assert aircraft_key("console") == "console"
    assert aircraft_key("nullarbor") == "nullarbor"


@settings(deadline=None)
@given(st.text(max_size=80))
def test_a_name_is_refused_or_is_one_safe_folder(name: str) -> None:
    try:
        key = aircraft_key(name)
    except BookError as error:
        said = str(error)
    else:
        said = ""
    if said:
        assert said.isprintable()
        return
    folder = f"aircraft={key}"
    assert Path(folder).name == folder
    assert len(folder.encode()) <= 255
    assert not set(folder) & set('<>:"/\\|?*\0')  # what Windows refuses in names
    assert folder.isprintable()
    assert aircraft_key(key) == key


def test_the_length_of_a_name_counts_bytes_of_the_longest_letters(
    tmp_path: Path, make: Callable[..., Any]
) -> None:
    made = make()
    name = "\U00010400" * 60  # four bytes each, and lower case has four as well
    book = Logbook(tmp_path / "book")
    book.add(made.log, aircraft=name, source=made.data)
    assert book.aircraft() == (name.lower(),)
