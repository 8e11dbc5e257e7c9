"""Logs within archives: read as in a folder, bounded, and never a way out of the archive."""

from __future__ import annotations

import gzip
import io
import zipfile
from pathlib import Path

import pytest

from telemetry import UnreadableLog, read_log
from telemetry.importer.finding import find_files
from telemetry.importer.text import archive

GOOD = Path(__file__).parents[1] / "data" / "good"
LOG = (GOOD / "separator_comma.csv").read_bytes()


def zipped(path: Path, files: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, data in files.items():
            out.writestr(name, data)
    return path


def found(path: Path) -> dict[str, str]:
    return {f.path.relative_to(path).as_posix(): str(f.error or "") for f in find_files([path])}


def test_a_log_in_an_archive_is_the_log_itself(tmp_path: Path) -> None:
    plain = read_log(GOOD / "separator_comma.csv").provenance.sha256
    (tmp_path / "a.csv.gz").write_bytes(gzip.compress(LOG))
    assert read_log(tmp_path / "a.csv.gz").provenance.sha256 == plain
    one = zipped(tmp_path / "one.zip", {"day 1/log.csv": LOG, "picture.png": b"x"})
    assert read_log(one).provenance.sha256 == plain
    inner = read_log(one / "day 1" / "log.csv").provenance
    assert (inner.sha256, inner.file) == (plain, str(one / "day 1" / "log.csv"))


def test_folders_and_archives_are_searched_alike(tmp_path: Path) -> None:
    zipped(
        tmp_path / "card.zip",
        {
            "log 10.csv": LOG,
            "log 9.csv": LOG,
            "season.xlsx": b"x",
            "old.zip": b"x",
            "__MACOSX/._log 9.csv": b"x",
        },
    )
    (tmp_path / "b.csv.gz").write_bytes(gzip.compress(LOG))
    (tmp_path / "plan.ods").write_bytes(b"x")
    (tmp_path / "broken.zip").write_bytes(b"PK\x03\x04 no more")
    seen = found(tmp_path)
    assert list(seen) == [
        "b.csv.gz", "broken.zip", "card.zip/log 9.csv", "card.zip/log 10.csv", "card.zip/old.zip",
        "card.zip/season.xlsx", "plan.ods",
    ]  # fmt: skip
    assert "is a damaged archive" in seen["broken.zip"]
    assert (
        "is an archive within an archive and not read; unpack it first" in seen["card.zip/old.zip"]
    )
    for sheet in ("card.zip/season.xlsx", "plan.ods"):
        assert "is a spreadsheet and not read; save its sheet as CSV" in seen[sheet]
    with pytest.raises(UnreadableLog, match="is an archive of 2 logs"):
        read_log(tmp_path / "card.zip")


@pytest.mark.parametrize(
    "name", ["../../out.csv", "/etc/out.csv", "C:\\out.csv", "a\\..\\..\\out.csv"]
)
def test_a_name_within_leads_nowhere_else(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "x" / "y"
    folder.mkdir(parents=True)
    (tmp_path / "out.csv").write_bytes(b"not this one")
    (one,) = find_files([zipped(folder / "bad.zip", {name: LOG})])
    assert ".." not in one.path.parts
    assert one.path.is_relative_to(folder / "bad.zip")
    assert read_log(one.path).provenance.rows == 6


def test_what_is_unpacked_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    flood = b"0,0\n" * (1 << 23)
    (tmp_path / "flood.csv.gz").write_bytes(gzip.compress(flood))
    zipped(tmp_path / "flood.zip", {"log.csv": flood})
    for path in (tmp_path / "flood.csv.gz", tmp_path / "flood.zip"):
        with pytest.raises(UnreadableLog, match="or to 250 times its size"):
            read_log(path)
    monkeypatch.setattr(archive, "MOST_BYTES", 100)
    (tmp_path / "a.csv.gz").write_bytes(gzip.compress(LOG))
    with pytest.raises(UnreadableLog, match="unpacks to more than"):
        read_log(tmp_path / "a.csv.gz")


def test_an_archive_of_5000_files_is_looked_through(tmp_path: Path) -> None:
    files = {"a.csv": LOG} | {f"{k}.bin": b"" for k in range(4999)}
    (one,) = find_files([zipped(tmp_path / "most.zip", files)])
    assert (one.path.name, one.error) == ("a.csv", None)
    (one,) = find_files([zipped(tmp_path / "more.zip", files | {"one.bin": b""})])
    assert "is an archive of more than 5,000 files" in str(one.error)


def test_damage_is_one_sentence(tmp_path: Path) -> None:
    whole = gzip.compress(LOG)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("log.csv", LOG)
    for name, data in (("a.csv.gz", whole), ("a.zip", buffer.getvalue())):
        for at in range(0, len(data), 3):
            for damaged in (data[:at], data[:at] + bytes([data[at] ^ 0x55]) + data[at + 1 :]):
                path = tmp_path / name
                path.write_bytes(damaged)
                for one in find_files([path]):
                    try:
                        read_log(one.path)
                    except UnreadableLog as error:
                        if not str(error).startswith(str(path)):
                            pytest.fail(f"{len(damaged)} bytes: {error}")
