"""Make a release of the last commit and hold it against what it promises.

    .ci/release --out DIR [--publish]

Built twice, in two folders that differ in all that a build could take up, and once more from its
own source archive: equal bytes or no release. Its bill of materials is held against the schema of
CycloneDX, the tests run with the wheel away from the sources, and SHA256SUMS holds the hashes of
all files. Then it says what publishing would do. ``--publish`` does it: tags the commit, uploads
both archives (the upload asks for its token in UV_PUBLISH_TOKEN) and pushes the tag. It first wants
a clean checkout, a dated heading among the changes and no such tag.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tarfile
import tempfile
import tomllib
import zipfile
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path

from packaging.metadata import Metadata

from tests.release import bill as bills
from tests.release.builds import ELSEWHERE, built, made_strange, sha256
from tests.release.changes import headings
from tests.release.locked import RUNTIME, locked

ROOT = Path(__file__).parents[2]
_SUMS = "SHA256SUMS"


def git(*words: str) -> str:
    """What git says of this checkout."""
    done = subprocess.run(["git", *words], cwd=ROOT, capture_output=True, text=True, check=True)
    return done.stdout.strip()


def sources(folder: Path) -> Path:
    """The last commit as files below a folder."""
    folder.mkdir()
    packed = folder.with_suffix(".tar")
    git("archive", "--output", str(packed), "HEAD")
    with tarfile.open(packed) as archive:
        archive.extractall(folder, filter="data")
    return folder


def made(out: Path, work: Path) -> tuple[Path, Path]:
    """The wheel and the source archive, equal however they were built."""
    files = built(sources(work / "sources"), out)
    made_strange(sources(work / "elsewhere"))
    again = built(work / "elsewhere", work / "again", ELSEWHERE)
    with tarfile.open(files[1]) as archive:
        archive.extractall(work / "archive", filter="data")
    (inner,) = (work / "archive").iterdir()
    for others in (again, built(inner, work / "third")):
        for path, one in zip(files, others, strict=True):
            if sha256(path) != sha256(one):
                raise SystemExit(f"{path.name}: two builds differ")
    return files


def described(wheel: Path) -> Metadata:
    """What the wheel says of itself; SystemExit where a registry would refuse it."""
    with zipfile.ZipFile(wheel) as inner:
        (name,) = (n for n in inner.namelist() if n.endswith(".dist-info/METADATA"))
        return Metadata.from_email(inner.read(name), validate=True)


def publishable(version: str, tag: str) -> list[str]:
    """What stands against publishing, in sentences."""
    newest, when = headings((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))[0]
    against = []
    if git("status", "--porcelain"):
        against.append("the checkout holds changes that are not committed")
    if newest != version or when == "unreleased":
        against.append(f'the changes want a heading "### {version} ({date.today()})"')
    if git("tag", "--list", tag):
        against.append(f"there is a tag {tag} already")
    return against


def publishing(files: Sequence[Path], version: str, tag: str) -> list[list[str]]:
    """The commands that publish, in their order: what cannot be taken back stands last but one."""
    return [
        ["git", "tag", "--annotate", tag, "--message", f"busbook {version}"],
        [sys.executable, "-m", "uv", "publish", *map(str, files)],
        ["git", "push", "origin", tag],
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--out", type=Path, required=True, help="an empty or new folder")
    parser.add_argument("--publish", action="store_true", help="tag, upload, push the tag")
    given = parser.parse_args()
    out: Path = given.out.absolute()
    if out.exists() and any(out.iterdir()):
        parser.error(f"{out} is not empty")
    project = tomllib.loads(git("show", "HEAD:pyproject.toml"))["project"]
    version, tag = project["version"], f"v{project['version']}"
    against = publishable(version, tag)
    if given.publish and against:
        parser.error("; ".join(against))
    with tempfile.TemporaryDirectory() as name:
        files = made(out, Path(name))
    if str(described(files[0]).version) != version:
        raise SystemExit("the wheel has another version than pyproject.toml")
    print(f"busbook {version} of {git('rev-parse', 'HEAD')}: three builds, equal bytes")
    when = datetime.fromisoformat(git("log", "-1", "--format=%cI"))
    text = bills.bill(files, project, locked(RUNTIME), when)
    bills.against_its_schema(text)
    (out / f"busbook-{version}.cdx.json").write_text(text, encoding="utf-8", newline="\n")
    shutil.copyfile(RUNTIME, out / "requirements.txt")
    sums = "".join(f"{sha256(path)}  {path.name}\n" for path in sorted(out.iterdir()))
    (out / _SUMS).write_text(sums, encoding="utf-8", newline="\n")
    print(sums, end="")
    check = [sys.executable, "-m", "tests.full.installed", str(files[0])]
    subprocess.run(check, cwd=ROOT, check=True)
    for line in against:
        print(f"against publishing: {line}")
    for command in publishing(files, version, tag):
        print(" ".join(command) if given.publish else f"would run: {' '.join(command)}")
        if given.publish:
            subprocess.run(command, cwd=ROOT, check=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
