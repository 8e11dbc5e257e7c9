"""Notes, profiles and measures meet the same faults as flights do; and files of the future."""

from __future__ import annotations

import errno
import hashlib
import io
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from telemetry.app.incoming.batch import add_files
from telemetry.book import Logbook
from telemetry.book.files.joining import PARTS, joined, read_again
from telemetry.book.files.originals import digest_of
from telemetry.model.errors import BookError, ProfileError

Make = Callable[..., Any]


@contextmanager
def refusing(code: int, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Nothing can be flushed to the disk: as late as a disk can tell that it is full."""

    def flush(handle: int) -> None:
        raise OSError(code, os.strerror(code))

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", flush)
        yield


@pytest.fixture
def filled(book: Logbook, make: Make) -> tuple[Logbook, str]:
    made = make(start="2026-05-14T10:00:00")
    (flight,) = book.add(made.log, aircraft="tern", source=made.data).flights
    book.note("tern", "plug cleaned", kind="repaired", place="left wing")
    book.put_measures(flight, "1", {"x": 1})
    return book, flight


def everything(root: Path) -> dict[str, bytes]:
    return {p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*") if p.is_file()}


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.ENOSPC, "the disk is full; free some space and try again"),
        (errno.EROFS, "this place may not be written to; choose another folder"),
        (errno.EIO, r"it cannot be written \(Input/output error\)"),
    ],
)
def test_what_cannot_be_written_leaves_everything_as_it_was(
    code: int, words: str, filled: tuple[Logbook, str], make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    book, flight = filled
    other = make(seed=3)
    before = everything(book.path)
    acts: tuple[Callable[[], Any], ...] = (
        lambda: book.note("tern", "again", kind="checked"),
        lambda: book.put_profile("tern", 'name = "New"\n'),
        lambda: book.put_measures(flight, "2", {"x": 2}),
        lambda: book.add(other.log, aircraft="tern", source=other.data),
        lambda: book.move([flight], "petrel"),
        lambda: book.remove([flight]),
        lambda: book.remove([book.notes("tern")[0].id]),
    )
    for act in acts:
        with refusing(code, monkeypatch), pytest.raises(BookError, match=words):
            act()
        assert everything(book.path) == before
    for act in acts[:3]:
        act()
    assert everything(book.path) != before, "with room again the same goes through"


@pytest.mark.parametrize("text", ['name = "x"\n[limits', "\0", 'name = "x"\ncolour = 3\n'])
def test_a_damaged_profile_is_told_and_not_written_over(
    text: str, filled: tuple[Logbook, str], make: Make
) -> None:
    book, _ = filled
    book.profile_path("tern").write_text(text)
    more = make(seed=5)
    assert book.add(more.log, aircraft="tern", source=more.data).status == "added"
    assert book.profile_path("tern").read_text() == text
    with pytest.raises(ProfileError) as caught:
        book.profile("tern")
    assert str(book.profile_path("tern")) in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (f'name = "x"\n[limits]\nsag_v = {"9" * 5000}\n', "a number or key in it is too long"),
        (f"name = {'[' * 5000}{']' * 5000}\n", "its lists are too deep"),
        (f"limits{'.a' * 40_000} = 1\n", "key in it is too long"),
        (f'name = "x"\n[limits]\nsag_v = 0x{"f" * 5000}\n', "this number is not allowed"),
        ('name = "x"\n[limits]\nsag_v = nan\n', "nan is not allowed: it must be a finite number"),
        ('name = "x"\n[limits]\nsag_v = -inf\n', "-inf is not allowed: it must be a finite"),
        ('name = "x"\n[limits]\nsag_v = 1e999\n', "inf is not allowed: it must be a finite number"),
        (f'name = "x"\nbus = 1{"0" * 400}\n', "this number is not allowed"),
    ],
    ids=["digits", "depth", "dots", "hexadecimal", "nan", "-inf", "1e999", "not text"],
)
def test_numbers_that_are_none_in_a_profile(text: str, words: str, book: Logbook) -> None:
    path = book.put_profile("tern", text)
    with pytest.raises(ProfileError, match=words) as caught:
        book.profile("tern")
    assert str(caught.value).startswith(str(path))
    assert len(str(caught.value)) < len(str(path)) + 300


def test_the_last_bytes_of_a_table_are_its_key(filled: tuple[Logbook, str]) -> None:
    """Parquet's footer: its length, its mark, and the schema before them."""
    book, flight = filled
    path = book.path / "flights" / "aircraft=tern" / f"{flight}.parquet"
    whole = path.read_bytes()
    length = int.from_bytes(whole[-8:-4], "little")
    assert whole[-4:] == b"PAR1"
    for where in (-1, -5, -8, -9, -8 - length, -8 - length // 2):
        path.write_bytes(whole[:where] + bytes([whole[where] ^ 0xFF]) + whole[where:][1:])
        said = ""
        try:
            assert len(book.read(flight).frame) == 40  # it may be a byte that nobody needs
        except BookError as error:
            said = str(error)
        assert not said or "busbook check-book" in said
    path.write_bytes(whole[:-8] + (1 << 30).to_bytes(4, "little") + b"PAR1")
    with pytest.raises(BookError, match="this flight's table is damaged"):
        book.read(flight)


def test_files_from_the_future_are_files(
    filled: tuple[Logbook, str], tmp_path: Path, make: Make
) -> None:
    """A card whose clock ran ahead, and a book written on such a machine."""
    book, flight = filled
    ahead = datetime(2090, 1, 1, tzinfo=UTC).timestamp()
    for path in book.path.rglob("*"):
        os.utime(path, (ahead, ahead))
    part = book.path / "originals" / ".0123.part"
    part.write_text("another process is writing this")
    os.utime(part, (ahead, ahead))
    report = book.check_book()
    assert (report.problems, report.removed) == ((), ())
    assert part.exists(), "what looks younger than now may be being written"
    log = tmp_path / "card.csv"
    log.write_text("Time [s],Bus U [V]\n" + "".join(f"{k / 10},6.0{k % 3}\n" for k in range(60)))
    os.utime(log, (ahead, ahead))
    (outcome,) = add_files(book, [log], aircraft="tern")
    assert outcome.status == "added"
    assert [f.start_source for f in book.flights("tern") if f.id != flight] == ["order of adding"]


def test_a_part_that_changes_while_logs_are_joined(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Read for its bytes, then for its values: what lies between must not go unnoticed."""
    paths = [tmp_path / "a.csv", tmp_path / "b.csv"]
    for number, path in enumerate(paths):
        rows = "".join(f"{number * 60 + k},6.0{k % 3}\n" for k in range(60))
        path.write_text("Time [s],Bus U [V]\n" + rows)
    how: dict[str, Any] = {"settings": {}, "row_interval_s": None}
    log, data, used = joined(paths, **how)
    assert len(log.frame) == 120
    original = tmp_path / "whole" / "a.csv"
    original.parent.mkdir()
    original.write_bytes(data)
    assert read_again(original, used, None).frame.equals(log.frame)
    first, second = used[PARTS].split(",")
    with pytest.raises(BookError, match="this recording's parts do not add up"):
        read_again(original, {PARTS: f"{first},{int(second) - 7}"}, None)
    real = Path.read_bytes

    def written_on(path: Path) -> bytes:
        data = real(path)
        if path == paths[1]:
            with path.open("a") as file:
                file.write("120,6.00\n")
        return data

    monkeypatch.setattr("telemetry.book.files.joining.read_file", written_on)
    with pytest.raises(BookError, match=r"b\.csv: the file is not what was read a moment ago"):
        joined(paths, **how)


@pytest.mark.parametrize("size", [0, 1, 2, 1 << 20, (1 << 20) + 1])
def test_a_digest_is_that_of_so_many_bytes_though_more_are_written(size: int) -> None:
    data = bytes(k % 251 for k in range(size))
    assert digest_of(io.BytesIO(data + b"more"), size) == hashlib.sha256(data).hexdigest()
    assert digest_of(io.BytesIO(data), size + 4) == hashlib.sha256(data).hexdigest()
