"""The wheel and the source archive of a folder of sources.

The build tool (hatchling) writes files in the order of their names, with one time and one owner
for all, so that two builds by the same version of it and of Python's zlib give equal bytes.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

#: What another machine may have set while it builds.
ELSEWHERE = {"TZ": "Asia/Tokyo", "LC_ALL": "C", "SOURCE_DATE_EPOCH": "1", "PYTHONHASHSEED": "7"}


def made_strange(sources: Path) -> None:
    """Give all files of a folder another time, and permissions for their owner alone."""
    for path in sources.rglob("*"):
        os.utime(path, (0, 915148800))  # the first second of 1999
        path.chmod(path.stat().st_mode & 0o700)


def built(sources: Path, out: Path, environment: dict[str, str] | None = None) -> tuple[Path, Path]:
    """Build below a folder; the wheel and the source archive.

    A ``SOURCE_DATE_EPOCH`` of the caller's would move the time that all files get: it is not
    passed on, so that everybody gets the same.
    """
    known = {**os.environ, **(environment or {})}
    known.pop("SOURCE_DATE_EPOCH", None)
    command = [sys.executable, "-m", "hatchling", "build", "-d", str(out)]
    done = subprocess.run(
        command, cwd=sources, env=known, capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise SystemExit(f"the build of {sources} failed:\n{done.stdout}{done.stderr}")
    (wheel,) = out.glob("*.whl")
    (archive,) = out.glob("*.tar.gz")
    return wheel, archive


def sha256(path: Path) -> str:
    """Of a file, in hexadecimal digits."""
    return hashlib.sha256(path.read_bytes()).hexdigest()
