"""The power goes: what was not flushed is forgotten, files and the entries of folders alike.

The disk keeps of a file what it held when it was flushed last, and of a folder the names that it
had when the folder was flushed last (POSIX promises no more). Two disks are tried at every step:
one that forgot all that was not flushed, and one that had written the names already but not the
bytes.

The normal suite cuts at every fifth step; ``.ci/full power`` at every one.
"""

from __future__ import annotations

import os
import shutil
import stat
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from telemetry.book import Logbook
from tests.book.killing import State, make_book, state_of
from tests.book.test_crash import Death
from tests.sweeps import one_in

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/fd").exists(), reason="asks this system which file is flushed"
)

REAL: dict[str, Any] = {
    "fsync": os.fsync,
    "replace": Path.replace,
    "unlink": Path.unlink,
    "mkdir": Path.mkdir,
}


class Disk:
    """What would be left of a folder without power."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.bytes: dict[int, bytes] = {}
        self.names: dict[Path, dict[str, int | None]] = {}
        for folder, _, files in os.walk(root):
            self._flush_folder(Path(folder))
            for file in files:
                path = Path(folder) / file
                self.bytes[path.stat().st_ino] = path.read_bytes()

    def _flush_folder(self, folder: Path) -> None:
        with os.scandir(folder) as found:
            self.names[folder] = {one.name: None if one.is_dir() else one.inode() for one in found}

    def flushed(self, handle: int) -> None:
        """The system was asked to write this file or folder out."""
        path = Path(f"/proc/self/fd/{handle}").readlink()
        if not path.is_relative_to(self.root):
            return
        state = os.fstat(handle)
        if stat.S_ISDIR(state.st_mode):
            self._flush_folder(path)
        else:
            self.bytes[state.st_ino] = path.read_bytes()

    def left(self, to: Path, *, names_written: bool) -> None:
        """Write what is left into another folder."""

        def copy(folder: Path, into: Path) -> None:
            into.mkdir(exist_ok=True)
            if names_written and folder.exists():
                self._flush_folder(folder)
            for name, inode in self.names.get(folder, {}).items():
                if inode is None:
                    copy(folder / name, into / name)
                else:
                    (into / name).write_bytes(self.bytes.get(inode, b""))

        copy(self.root, to)


class Cut:
    """The power goes at the n-th flush, rename or other change of a folder."""

    def __init__(self, last: int, disk: Disk) -> None:
        self.left = last
        self.disk = disk

    def step(self) -> None:
        if self.left <= 0:
            raise OSError  # tidying up fails, too
        self.left -= 1
        if not self.left:
            raise Death

    def sync(self, handle: int) -> None:
        self.step()
        REAL["fsync"](handle)
        self.disk.flushed(handle)

    def stepping(self, name: str) -> Callable[..., Any]:
        def call(path: Path, *args: Any, **kwargs: Any) -> Any:
            self.step()
            return REAL[name](path, *args, **kwargs)

        return call

    def put_on(self, patch: pytest.MonkeyPatch) -> None:
        patch.setattr(os, "fsync", self.sync)
        for name in ("replace", "unlink", "mkdir"):
            patch.setattr(Path, name, self.stepping(name))


def cuts(
    patch: pytest.MonkeyPatch, begin: Callable[[], tuple[Path, Callable[[], Any]]]
) -> Iterator[tuple[Disk, bool]]:
    """Do something again and again, without power some steps later each time, until it is done."""
    for last in range(1, 400, one_in(5)):
        root, act = begin()
        disk = Disk(root)
        done = True
        with patch.context() as without:
            Cut(last, disk).put_on(without)
            try:
                act()
            except Death:
                done = False
        yield disk, done
        if done:
            return
    raise AssertionError("it was never done")


def shape(state: State) -> list[list[tuple[str, str]]]:
    """Ids of notes are not the same twice."""
    return [
        sorted((whose, one if one[16:17] == "-" else "note") for one, whose in part)
        for part in state
    ]


def _note(book: Logbook) -> None:
    book.note("tern", "plug cleaned", kind="repaired", place="left wing")


def _remove(book: Logbook) -> None:
    book.remove([book.flights("tern")[0].id, book.notes("tern")[0].id])


def _restore(book: Logbook) -> None:
    book.restore([entry.id for entry, _ in book.removed()])


def _move(book: Logbook) -> None:
    book.move([one.id for one in book.flights("gull")], "petrel")


def _profile(book: Logbook) -> None:
    book.put_profile("tern", book.profile_path("tern").read_text() + "\n# a word\n")


def _rebuild(book: Logbook) -> None:
    assert book.check_book().problems == ()


def _add(book: Logbook) -> None:
    from tests.book.children.writer import small_log

    log, data = small_log(7)
    book.add(log, aircraft="tern", source=data)


@pytest.mark.parametrize("act", [_add, _note, _remove, _restore, _move, _profile, _rebuild])
def test_without_power_at_every_step(
    act: Callable[[Logbook], None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    template = tmp_path / "template"
    filled = make_book(template)
    filled.remove([filled.flights("gull")[0].id])
    if act is _rebuild:
        next(iter(template.glob("flights/*/*.parquet"))).write_bytes(b"PAR1")
        next(iter(template.glob("notes/*/*.json"))).unlink()
    turn = 0

    def begin() -> tuple[Path, Callable[[], Any]]:
        nonlocal turn
        turn += 1
        root = tmp_path / f"book {turn}"
        shutil.copytree(template, root)
        book = Logbook(root)
        return root, lambda: act(book)

    old = shape(state_of(Logbook(template)))
    done_root, run = begin()
    run()
    new = shape(state_of(Logbook(done_root)))
    shutil.rmtree(done_root)
    count = 0
    for disk, done in cuts(monkeypatch, begin):
        count += 1
        for written in (False, True):
            left = tmp_path / f"left {turn} {written}"
            disk.left(left, names_written=written)
            book = Logbook(left)
            if act is _rebuild:
                act(book)
            found = shape(state_of(book))
            assert found in ((new,) if done or act is _rebuild else (old, new))
            said = [str(p) for p in book.check_book().problems]
            if act is _add and said:
                assert not done
                assert [s for s in said if "was not added to its end; add its file" not in s] == []
                act(book)
                found = new
                said = [p.what for p in book.check_book().problems]
            assert said == [], f"step {count}"
            # What was added to its last file but one is there once the book was checked.
            assert shape(state_of(book)) in ((found, new) if act is _add else (found,))
            shutil.rmtree(left)
        shutil.rmtree(disk.root)
    assert count >= 3
    print(f"{act.__name__}: cut at {count - 1} steps", file=sys.stderr)
