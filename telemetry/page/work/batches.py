"""Batches of logs that wait to be added: folders of the book, so that an end of power loses none.

::

    incoming/<batch>/batch.json        what became of each log, written anew after each
    incoming/<batch>/files/0001/<name> the logs that are not done

A batch appears under its name when all of it has come; what is left of one that was cut off begins
with a dot and is swept out.
"""

from __future__ import annotations

import re
import secrets
import shutil
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

from telemetry.book.files.writing import PART, json_bytes, read_json, write_file
from telemetry.importer.finding import find_files
from telemetry.importer.text.archive import is_archive
from telemetry.model.errors import BookError
from telemetry.model.files import is_regular, open_regular

#: What may become of a log; the first is still to be done, the next two wait for an answer.
WAITING, UNSURE, OPEN = "waiting", "unsure", "open"
ADDED, KNOWN, SKIPPED, FAILED, DROPPED = "added", "known", "skipped", "failed", "dropped"
ASKED = (UNSURE, OPEN)
#: How each is said.
STATES = {
    WAITING: "waits to be read",
    UNSURE: "waits for you: whose is it?",
    OPEN: "waits for you: its columns",
    ADDED: "added",
    KNOWN: "known already",
    SKIPPED: "passed by",
    FAILED: "not added",
    DROPPED: "left out",
}

# Bytes of a file's name that every system takes, with a number before it.
_MOST_NAME = 120
_PIECE = 1 << 20
# Finished batches that are still listed.
_MOST_FINISHED = 20
_ID = re.compile(r"\d{8}T\d{6}-[0-9a-f]{8}")


@dataclass(frozen=True, slots=True, kw_only=True)
class LogOnTheWay:
    """One log of a batch.

    Attributes
    ----------
    name : str
        As it came.
    path : str
        Within the folder of the batch; of a log in an archive the archive's with the name behind.
    status : str
    words : str
        What became of it, a sentence.
    aircraft : str
        Whose it is, as far as it is known.
    flights : tuple of str
        Ids of its flights in the book.
    candidates : tuple of str
    header : str
        Fingerprint of the header, where its columns are to be settled.
    given : str
        Whose the user said it is.
    settings : mapping of str to str
        How the user said its columns are read.
    row_interval_s : float or None
    """

    name: str
    path: str
    status: str = WAITING
    words: str = ""
    aircraft: str = ""
    flights: tuple[str, ...] = ()
    candidates: tuple[str, ...] = ()
    header: str = ""
    given: str = ""
    settings: Mapping[str, str] = field(default_factory=dict)
    row_interval_s: float | None = None

    @property
    def done(self) -> bool:
        """Whether nothing is left to do or to ask."""
        return self.status not in (WAITING, *ASKED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Logs that came together. ``begun`` is True from when its first log was taken up."""

    id: str
    came: str
    logs: tuple[LogOnTheWay, ...]
    begun: bool = False
    cut: bool = False

    def document(self) -> dict[str, Any]:
        """As plain values for JSON."""
        return asdict(self) | {
            "logs": [asdict(one) | {"settings": dict(one.settings)} for one in self.logs]
        }

    @classmethod
    def of(cls, doc: Mapping[str, Any]) -> Batch:
        """From plain values; BookError if something is missing or of another kind."""
        try:
            logs = tuple(
                LogOnTheWay(
                    **{
                        **one,
                        "flights": tuple(map(str, one["flights"])),
                        "candidates": tuple(map(str, one["candidates"])),
                        "settings": {str(k): str(v) for k, v in one["settings"].items()},
                    }
                )
                for one in doc["logs"]
            )
            return cls(
                id=str(doc["id"]),
                came=str(doc["came"]),
                logs=logs,
                begun=bool(doc["begun"]),
                cut=bool(doc["cut"]),
            )
        except (KeyError, TypeError, AttributeError) as error:
            raise BookError("this list of logs is damaged") from error

    def count(self, *statuses: str) -> int:
        """How many of its logs have one of these."""
        return sum(one.status in statuses for one in self.logs)


class Spool:
    """The folder of the book in which batches wait.

    Parameters
    ----------
    folder : Path
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def take(self, sources: Iterable[tuple[str, BinaryIO | Path]]) -> Batch | None:
        """Take files in, whole or not at all; None where there is none.

        Parameters
        ----------
        sources : iterable of (str, file or path)
            The name of each, and where its bytes are.

        Raises
        ------
        OSError
            If the disk is full and the like; nothing stays then.
        """
        now = datetime.now()
        identity = f"{now:%Y%m%dT%H%M%S}-{secrets.token_hex(4)}"
        aside = self.folder / f".{identity}{PART}"
        names = []
        try:
            for number, (name, source) in enumerate(sources, 1):
                path = aside / "files" / f"{number:04d}" / harmless(name)
                path.parent.mkdir(parents=True)
                with path.open("xb") as file:
                    if isinstance(source, Path):
                        with open_regular(source) as original:
                            shutil.copyfileobj(original, file, _PIECE)
                    else:
                        shutil.copyfileobj(source, file, _PIECE)
                names.append((name, path))
            if not names:
                return None
            logs = [one for name, path in names for one in _logs_of(name, path, aside)]
            batch = Batch(id=identity, came=now.isoformat(timespec="seconds"), logs=tuple(logs))
            write_file(aside / "batch.json", json_bytes(batch.document()))
            aside.rename(self.folder / identity)
        except BaseException:
            shutil.rmtree(aside, ignore_errors=True)
            raise
        return batch

    def batches(self) -> list[Batch]:
        """All batches, the oldest first; a damaged one is passed by."""
        found = []
        for path in sorted(self.folder.glob("*/batch.json")):
            with suppress(BookError):
                batch = Batch.of(read_json(path))
                if batch.id == path.parent.name and _ID.fullmatch(batch.id):
                    found.append(batch)
        return found

    def cut_off(self) -> int:
        """Sweep out what is left of batches that never came whole; how many."""
        left = [p for p in self.folder.glob(f".*{PART}") if p.is_dir()]
        for path in left:
            shutil.rmtree(path, ignore_errors=True)
        return len(left)

    def path(self, batch: Batch, log: LogOnTheWay) -> Path:
        """Where a log lies."""
        return self.folder / batch.id / log.path

    def keep(self, batch: Batch) -> None:
        """Write what became of a batch; its files go when nothing of it is left to do."""
        folder = self.folder / batch.id
        write_file(folder / "batch.json", json_bytes(batch.document()))
        if all(one.done for one in batch.logs):
            shutil.rmtree(folder / "files", ignore_errors=True)

    def forget_old(self) -> None:
        """Forget the oldest of the batches that are finished, where there are many."""
        finished = [b for b in self.batches() if all(one.done for one in b.logs)]
        for batch in finished[: max(0, len(finished) - _MOST_FINISHED)]:
            shutil.rmtree(self.folder / batch.id, ignore_errors=True)


def harmless(name: str) -> str:
    """The last part of a path of any system, as a name that every system takes."""
    last = re.split(r"[/\\]", name)[-1]
    kept = re.sub(r'[:*?"<>|\x00-\x1f\x7f]', "_", last).strip(" .")
    stem, dot, ending = kept.rpartition(".")
    stem, ending = (stem, ending[:10]) if dot else (kept, "")
    stem = stem.encode("utf-8", "ignore")[:_MOST_NAME].decode("utf-8", "ignore").rstrip(" .")
    return f"{stem or 'log'}{dot}{ending}"


def _logs_of(name: str, path: Path, folder: Path) -> list[LogOnTheWay]:
    """The logs in one file that came: itself, or those within an archive."""
    if not is_regular(path) or not is_archive(path):
        return [LogOnTheWay(name=name, path=path.relative_to(folder).as_posix())]
    inside = find_files([path])
    if not inside:
        words = "There is no log in this archive."
        return [LogOnTheWay(name=name, path="", status=SKIPPED, words=words)]
    logs = []
    for one in inside:
        shown = name if one.path == path else f"{name}: {one.path.relative_to(path).as_posix()}"
        log = LogOnTheWay(name=shown, path=one.path.relative_to(folder).as_posix())
        if one.error is not None:
            log = replace(
                log, status=FAILED, words=f"This file {one.error.what}; {one.error.hint}."
            )
        logs.append(log)
    return logs


def changed(batch: Batch, change: Callable[[LogOnTheWay], LogOnTheWay]) -> Batch:
    """A batch with each of its logs changed."""
    return replace(batch, logs=tuple(map(change, batch.logs)))
