"""The locks of .ci: a version of each package, for which systems, the hashes of its files."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
ALL = ROOT / ".ci" / "locked.txt"
RUNTIME = ROOT / ".ci" / "runtime.txt"


class Locked(NamedTuple):
    """A version of a package. ``sha256`` are the files of which one is taken."""

    name: str
    version: str
    marker: str
    sha256: tuple[str, ...]


def locked(path: Path) -> list[Locked]:
    """All of a lock: a requirements file of pip's, in its hash-checking form."""
    text = path.read_text(encoding="utf-8").replace("\\\n", " ")
    found = []
    for line in text.splitlines():
        if not line or line.startswith("#"):
            continue
        told, *hashes = line.split(" --hash=sha256:")
        wanted = Requirement(told.strip())
        (pinned,) = wanted.specifier
        marker = str(wanted.marker or "")
        hashed = tuple(sorted(h.strip() for h in hashes))
        found.append(Locked(wanted.name, pinned.version, marker, hashed))
    return found
