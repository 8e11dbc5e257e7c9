"""What is no log: one sentence, exit status 2, nothing half-written, never a traceback."""

from __future__ import annotations

import hashlib
import io
import os
import shutil
import sys
import time
import zipfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.book.files.originals import sha256_of
from telemetry.book.files.writing import read_file
from telemetry.model import files as model_files

LONG = "x" * 300
PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(200))


def _zip(name: str, content: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(name, content)
    return out.getvalue()


BAD = {
    "empty": b"",
    "one line end": b"\n",
    "only a byte order mark": b"\xef\xbb\xbf",
    "blanks": b"   \n \n\t\n",
    "header only": b"Time [s],Bus U [V],Bus I [A]\n",
    "header and units only": b"Time,Bus U,Bus I\n[s],[V],[A]\n",
    "zip": _zip("flight.csv", b"t,U\n1,2\n"),
    "spreadsheet": _zip("[Content_Types].xml", b"<Types/>"),
    "old spreadsheet": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(500),
    "picture": PNG,
    "picture (JPEG)": b"\xff\xd8\xff\xe0" + bytes(range(100)),
    "web page": b"<!DOCTYPE html><html><body>Log in</body></html>",
    "PDF": b"%PDF-1.7\n1 0 obj\n",
    "noise": bytes((k * 7919 + 13) % 256 for k in range(4096)),
    "zeros": bytes(2000),
    "no time column": b"Bus U [V],Bus I [A]\n6.0,1.0\n6.1,1.0\n6.0,1.1\n6.0,1.0\n",
    "one column": b"Bus U [V]\n6.0\n6.1\n6.0\n6.0\n",
    "all blanks": b"Time [s],Bus U [V],Bus I [A]\n0,,\n1,,\n2,,\n3,,\n",
    "all no value": b"Time [s],Bus U [V],Bus I [A]\n0,---,n/a\n1,---,n/a\n2,---,n/a\n",
    "a letter": b"Dear pilot,\nthe weather is fine.\nRegards\n",
}


@pytest.mark.parametrize("name", BAD)
@pytest.mark.parametrize("command", ["review", "columns"])
def test_one_sentence_and_nothing_left_behind(run, tmp_path, name, command) -> None:
    path = tmp_path / "in" / "flight.csv"
    path.parent.mkdir()
    path.write_bytes(BAD[name])
    out = tmp_path / "reports"
    options = ("--out", out) if command == "review" else ("--save", tmp_path / "map.toml")
    result = run(command, path, *options)
    if command == "columns" and result.exit_code == 0:
        # What can be listed is listed, with what keeps it from being reviewed.
        assert "Cannot be reviewed yet" in result.stdout
        return
    assert (result.exit_code, result.stdout) == (2, "")
    (line,) = result.stderr.splitlines()
    assert line.startswith(str(path))
    assert line.endswith(".")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["in"]
    assert [p.name for p in path.parent.iterdir()] == ["flight.csv"]


def test_what_is_no_file(run, tmp_path) -> None:
    gone = tmp_path / "gone.csv"
    broken = tmp_path / "broken.csv"
    broken.symlink_to(gone)
    round_about = tmp_path / "loop.csv"
    round_about.symlink_to(round_about)
    for path in (gone, broken, round_about, tmp_path / ("x" * 300 + ".csv"), gone / "deeper.csv"):
        for command in ("review", "columns"):
            result = run(command, path)
            assert (result.exit_code, result.stdout) == (2, ""), path
            assert len(result.stderr.splitlines()) == 1
            assert str(path) in result.stderr


def test_an_export_to_a_link_to_itself_is_written_in_its_place(run, log, tmp_path) -> None:
    round_about = tmp_path / "loop.csv"
    round_about.symlink_to(round_about)
    result = run("export", log, "--to", round_about)
    assert result.exit_code == 0, result.stderr
    assert round_about.read_bytes()
    assert not round_about.is_symlink()


def test_a_folder_has_no_columns(run, tmp_path) -> None:
    result = run("columns", tmp_path)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "folder" in result.stderr


@pytest.mark.parametrize(
    "command",
    [
        ("flights", "--book", LONG),
        ("aircraft", "new", "tern", "--out", LONG),
        ("export", "LOG", "--to", f"{LONG}.csv"),
        ("review", "LOG", "--out", LONG),
        ("review", f"{LONG}.csv"),
        ("review", "LOG", "--aircraft", f"{LONG}.toml"),
    ],
)
def test_a_name_longer_than_a_file_system_takes(run, log, tmp_path, command, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    result = run(*[log if word == "LOG" else word for word in command])
    assert result.exit_code == 2
    assert result.stderr.rstrip().endswith(".")
    assert "please report it" not in result.stderr


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no device files here")
@pytest.mark.parametrize("device", ["/dev/zero", "/dev/null"])
def test_a_device_is_not_read_for_ever(run, device) -> None:
    result = run("review", device)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == f"{device}: is a device, not a file; give a log file.\n"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_log_may_come_through_a_pipe(run, tmp_path, log_text) -> None:
    import threading

    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    writer = threading.Thread(target=pipe.write_text, args=(log_text,), daemon=True)
    writer.start()
    result = run("review", pipe)
    writer.join(10)
    assert result.exit_code == 0
    assert "NOTHING FOUND" in result.stdout


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_nothing_waits_for_a_pipe(run, log, tmp_path, monkeypatch) -> None:
    """In a folder it is passed by, a link to it likewise; named, it is given up after a while."""
    monkeypatch.setattr(model_files, "PATIENCE_S", 0.1)
    card = tmp_path / "card"
    card.mkdir()
    shutil.copy(log, card / "day.csv")
    for name in ("pipe.csv", "pipe.zip"):
        os.mkfifo(card / name)
    (card / "link.csv").symlink_to(card / "pipe.csv")
    (card / "zero.csv").symlink_to("/dev/zero")
    (card / "gone.csv").symlink_to(card / "nothing")
    for command in (("review",), ("add", "--aircraft", "tern")):
        result = run(*command, card, "--book", tmp_path / "book")
        assert result.exit_code == 2, "the link that leads nowhere is told"
        (line,) = [t for t in result.stderr.splitlines() if ".csv: " in t and "day" not in t]
        assert "gone.csv: " in line
        assert not [w for w in ("pipe.csv", "pipe.zip", "link.csv") if w in result.stderr]
    book = ("--book", tmp_path / "book")
    for command in (("review", *book), ("columns",), ("add", "--aircraft", "tern", *book)):
        result = run(*command, card / "pipe.csv")
        assert result.exit_code == 2
        assert "pipe" in result.stderr.replace("pipe.csv", "")
    profile = tmp_path / "profile.toml"
    os.mkfifo(profile)
    result = run("review", log, "--aircraft", profile)
    assert result.exit_code == 2
    assert "a pipe or a device, not a file" in result.stderr


def test_a_file_that_grows_is_read_to_where_it_ended(tmp_path, monkeypatch) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(b"a" * 10)
    real = os.fstat

    def grows(handle: int) -> os.stat_result:
        state = real(handle)
        with path.open("ab") as file:
            file.write(b"b" * 10)
        return state

    monkeypatch.setattr(os, "fstat", grows)
    assert model_files.read_whole(path, 100) == b"a" * 10
    assert read_file(path) in [b"a" * 10 + b"b" * 10 * n for n in range(1, 5)]
    ends = {hashlib.sha256(b"a" * 10 + b"b" * 10 * n).hexdigest() for n in range(1, 9)}
    assert sha256_of(path) in ends


def test_a_profile_of_many_keys_is_refused_at_once(run, log, tmp_path) -> None:
    path = tmp_path / "many.toml"
    path.write_text("".join(f"k{n} = 1\n" for n in range(200_000)))
    started = time.process_time()
    result = run("review", log, "--aircraft", path)
    assert result.exit_code == 2
    (line,) = result.stderr.splitlines()
    assert "larger than 100 kilobytes" in line
    assert time.process_time() - started < 5


@pytest.mark.parametrize(
    "key", ["a" + ".a" * 100, "a" + ' . "b-1"' * 100, f"[{'a.' * 100}a]\nb"], ids=len
)
def test_a_key_of_many_parts_is_refused_before_it_takes_long(key: str) -> None:
    with pytest.raises(ValueError, match="more than 100 parts"):
        model_files.toml_of(f"k = 1\n{key} = 1\n")
    fewer = "a" + ".a" * 99
    dots = f'{fewer} = "{"." * 300}"  # {"." * 300}\nlist = [{"1.5, " * 300}]\n'
    assert len(model_files.toml_of(dots)["list"]) == 300


@pytest.mark.parametrize("kind", ["html", "pdf"])
def test_an_output_that_cannot_be_written(run, log, tmp_path, kind) -> None:
    in_the_way = tmp_path / "file"
    in_the_way.write_text("kept")
    taken = tmp_path / "taken"
    (taken / f"evening.{kind}" / "inside").mkdir(parents=True)
    for out in (in_the_way, in_the_way / "deeper", taken):
        result = run("review", log, "--out", out, "--format", kind)
        assert result.exit_code == 2
        (line,) = result.stderr.splitlines()
        assert "cannot be written" in line
        assert "--out" in line
        assert "NOTHING FOUND" in result.stdout, "the review itself was good"
    assert in_the_way.read_text() == "kept"
    assert sorted(p.name for p in taken.rglob("*")) == sorted([f"evening.{kind}", "inside"])


def test_a_full_disk_leaves_the_old_report(run, log, tmp_path, monkeypatch) -> None:
    out = tmp_path / "reports"
    run("review", log, "--out", out)
    before = (out / "evening.html").read_bytes()

    def full(self: Path, data: bytes) -> int:
        with self.open("wb") as file:
            file.write(data[: len(data) // 2])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    result = run("review", log, "--out", out, "--json")
    assert result.exit_code == 2
    assert "no space left" in result.stderr
    assert (out / "evening.html").read_bytes() == before
    assert [p.name for p in out.iterdir()] == ["evening.html"]


@pytest.mark.skipif(
    sys.platform == "win32" or not hasattr(os, "geteuid") or os.geteuid() == 0,
    reason="permissions bind neither the superuser nor Windows",
)
def test_no_permission(run, log, tmp_path) -> None:
    shut = tmp_path / "shut"
    shut.mkdir(mode=0o500)
    log.chmod(0o000)
    assert run("review", log).exit_code == 2
    log.chmod(0o600)
    assert run("review", log, "--out", shut).exit_code == 2
    assert list(shut.iterdir()) == []


def test_a_log_is_never_overwritten_by_its_own_report(run, tmp_path, log_text) -> None:
    path = tmp_path / "evening.html"
    path.write_text(log_text)
    result = run("review", path, "--out", tmp_path)
    assert result.exit_code == 2
    assert path.read_text() == log_text
    result = run("columns", path, "--save", path)
    assert result.exit_code == 2
    assert path.read_text() == log_text


OPTIONS = st.one_of(
    st.sampled_from(
        [
            ("--json",), ("--join",), ("--out", "OUT"), ("--out", "LOG"), ("--format", "html"),
            ("--format", "pdf"), ("--format", "x"), ("--save", "OUT"), ("--map", "NONE"),
            ("--map", "LOG"), ("--row-interval", "0.1"), ("--row-interval", "nan"),
            ("--fail-on", "watch"), ("--fail-on", "clear"), ("--aircraft", "LOG"),
            ("--aircraft", ""), ("--paper", "letter"), ("--help",), ("--version",), ("--",), ("-",),
            ("",), ("LOG",), ("LOG",), ("NONE",), ("FOLDER",), ("\u00e9\u202e",), ("-x",),
        ]
    ),
    st.tuples(
        st.just("--set"),
        st.builds(
            "{}{}{}".format,
            st.sampled_from(["Bus U [V]", "#2", "#99", "#1", "@decimal", "@encoding", "", "="]),
            st.sampled_from(["=", "==", ""]),
            st.sampled_from(
                ["bus/voltage[V]", "ignore", "unknown", "time[s]", "time[dmy]", "tail/current",
                 ",", "utf-16", "a/b/c", "/voltage", "voltage[", "pack 1/cell-voltage/9"]
            ),
        ),
    ),
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(
    command=st.sampled_from(["review", "review", "review", "columns", "columns", "demo", ""]),
    options=st.lists(OPTIONS, max_size=5),
)
def test_any_words_on_the_command_line(fuzzed, command, options) -> None:
    run, folder = fuzzed
    names = {
        "LOG": folder / "log.csv",
        "NONE": folder / "none.csv",
        "FOLDER": folder / "void",
        "OUT": folder / "out",
    }
    words = [command, *(w for option in options for w in option)]
    if command == "demo":  # its work is tested elsewhere and takes its time
        words.append("--help")
    before = (folder / "log.csv").read_bytes()
    result = run(*(str(names.get(w, w)) for w in words))
    assert result.exit_code in (0, 1, 2)
    if result.exit_code == 2:
        assert result.stderr.strip()
    assert (folder / "log.csv").read_bytes() == before


@pytest.fixture(scope="module")
def fuzzed(tmp_path_factory, log_text, runner):
    from telemetry.cli import main

    folder = tmp_path_factory.mktemp("fuzzed")
    (folder / "log.csv").write_text("\n".join(log_text.splitlines()[:80]) + "\n")
    (folder / "void").mkdir()
    (folder / "cwd").mkdir()

    def run(*arguments: str):
        here = Path.cwd()
        os.chdir(folder / "cwd")
        try:
            result = runner.invoke(main, list(arguments))
        finally:
            os.chdir(here)
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        assert "fault of the program" not in result.output
        return result

    return run, folder
