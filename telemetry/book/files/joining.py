"""Several files added as one recording: its original is their bytes, one file after the other."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from telemetry.book.files.writing import changing, read_file
from telemetry.model.errors import BookError
from telemetry.model.log import Log

if TYPE_CHECKING:
    from telemetry.importer import ColumnMap

#: Setting of a recording that tells the sizes of its parts in bytes.
PARTS = "@parts"


def joined(
    files: Sequence[Path],
    *,
    settings: Mapping[str, str],
    row_interval_s: float | None,
    column_maps: Sequence[ColumnMap] = (),
) -> tuple[Log, bytes, dict[str, str]]:
    """Files as one log, their bytes as one original, and the settings that read it again.

    Raises
    ------
    UnreadableLog
        If one of them cannot be read, or they do not follow one another.
    BookError
        If one of them changes while it is read.
    """
    from telemetry.importer import join_logs, read_log

    parts = [read_file(path) for path in files]
    logs = [
        read_log(path, settings=settings, row_interval_s=row_interval_s, column_maps=column_maps)
        for path in files
    ]
    for path, part, own in zip(files, parts, logs, strict=True):
        if hashlib.sha256(part).hexdigest() != own.provenance.sha256:
            raise changing(path)
    data = b"".join(parts)
    log = join_logs(logs)
    facts = replace(log.provenance, sha256=hashlib.sha256(data).hexdigest(), size_bytes=len(data))
    headers = {one.provenance.header for one in logs}
    known = [dict(m.readings) for m in column_maps if m.fingerprint in headers]
    used = (known[0] if known else {}) | dict(settings)
    if len(parts) > 1:
        used[PARTS] = ",".join(str(len(p)) for p in parts)
    return replace(log, provenance=facts), data, used


def read_again(path: Path, settings: Mapping[str, str], row_interval_s: float | None) -> Log:
    """Read an original with the importer, as one file or in the parts it was joined from."""
    from telemetry.importer import read_log

    how = dict(settings)
    sizes = how.pop(PARTS, None)
    if sizes is None:
        return read_log(path, settings=how, row_interval_s=row_interval_s)
    data = read_file(path)
    files, at = [], 0
    for number, size in enumerate(int(n) for n in sizes.split(",")):
        files.append(path.with_name(f"{number}-{path.name}"))
        files[-1].write_bytes(data[at : at + size])
        at += size
    if at != len(data):
        raise BookError("this recording's parts do not add up", path=path)
    return joined(files, settings=how, row_interval_s=row_interval_s)[0]
