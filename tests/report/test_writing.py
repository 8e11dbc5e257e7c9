from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.model.errors import OutputError
from telemetry.report.writers.writing import aside, report_name, write_bytes, write_text


@pytest.mark.parametrize(
    ("log", "name"),
    [
        ("evening.csv", "evening.html"),
        ("day 1/evening.CSV", "evening.html"),
        ("C:\\logs\\evening 3.csv", "evening-3.html"),
        ("../../etc/passwd", "passwd.html"),
        ("..", "log.html"),
        (".hidden.csv", "hidden.html"),
        ("con.csv", "log-con.html"),
        ("Flug_ä.csv", "Flug_ä.html"),
        ("a<b>|c?.csv", "a-b-c-82492d.html"),
        ("a<b>|c*.csv", "a-b-c-296ab9.html"),
        ("2026.05.14.csv", "2026.05.14.html"),
        ("", "log.html"),
    ],
)
def test_names_of_reports(log: str, name: str) -> None:
    assert report_name(log, ".html") == name


@given(st.text(max_size=300))
def test_a_name_never_leads_out_of_its_folder(tmp_path_factory: object, log: str) -> None:
    name = report_name(log, ".html")
    assert Path(name).name == name
    assert not name.startswith(".")
    assert name.endswith(".html")
    assert len(name.encode()) <= 200
    assert not set(name) & set('/\\:*?"<>|\0\n')


def test_folders_are_made_and_the_text_is_there(tmp_path: Path) -> None:
    target = tmp_path / "new" / "deep" / "a.html"
    write_text(target, "ä\n")
    assert target.read_bytes() == "ä\n".encode()
    assert [p.name for p in target.parent.iterdir()] == ["a.html"]


def test_a_failure_leaves_the_old_file_and_nothing_else(tmp_path: Path) -> None:
    target = tmp_path / "a.html"
    target.write_text("old")

    def write_half() -> None:
        with aside(target) as temporary:
            temporary.write_text("half")
            raise OSError(28, "No space left on device")

    with pytest.raises(OutputError, match=r"cannot be written \(no space left on device\)"):
        write_half()
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.html"]


def test_other_failures_pass_and_clean_up(tmp_path: Path) -> None:
    def write_half() -> None:
        with aside(tmp_path / "a.html") as temporary:
            temporary.write_text("half")
            raise KeyError("bug")

    with pytest.raises(KeyError):
        write_half()
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_way_of_the_folder_is_one_clear_sentence(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    with pytest.raises(OutputError) as caught:
        write_text(tmp_path / "out" / "a.html", "x")
    text = str(caught.value)
    assert "a.html: cannot be written (" in text
    assert text.endswith("choose another folder with --out, or make room in this one.")
    assert "\n" not in text


@pytest.mark.skipif(os.name != "posix", reason="permission bits are POSIX")
@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_without_permission(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="permission denied"):
        write_text(tmp_path / "a.html", "x")


def test_a_report_that_is_open_elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As on Windows, where nothing takes the place of a file that a browser has open."""
    target = tmp_path / "a.html"
    target.write_text("old")

    def held(source: Path, path: Path) -> Path:
        raise PermissionError(13, "The process cannot access the file", str(path))

    monkeypatch.setattr(Path, "replace", held)
    with pytest.raises(OutputError, match="close it where it is open, or choose another folder"):
        write_text(target, "new")
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.html"]


@pytest.mark.parametrize(
    ("code", "words"),
    [(errno.ENOSPC, "no space left on device"), (errno.EROFS, "read-only file system")],
)
def test_a_folder_that_takes_nothing(
    code: int, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk and one that may only be read, at the first byte and before a folder."""

    def refuse(*_: object, **__: object) -> None:
        raise OSError(code, os.strerror(code))

    for method in ("write_bytes", "mkdir"):
        with monkeypatch.context() as patch:
            patch.setattr(Path, method, refuse)
            with pytest.raises(OutputError, match=words) as caught:
                write_bytes(tmp_path / "new" / "a.pdf", b"%PDF")
        assert "choose another folder with --out, or make room" in str(caught.value)
    assert not list(tmp_path.rglob("*.*"))
