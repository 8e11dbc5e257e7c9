"""The bill of materials: valid by its schema, whole, and the same whenever it is made."""

from __future__ import annotations

import importlib.metadata
import json
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest

pytest.importorskip("cyclonedx", reason="its library is not here: it comes with [release]")

from tests.release.bill import against_its_schema, bill
from tests.release.locked import ROOT, RUNTIME, Locked, locked

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
WHEN = datetime(2026, 5, 1, 12, tzinfo=UTC)


def as_installed() -> list[Locked]:
    """All that runs, at the versions that are here: another environment than the locked one too."""
    here = {one.name: importlib.metadata.version(one.name) for one in locked(RUNTIME)}
    return [one._replace(version=here[one.name]) for one in locked(RUNTIME)]


@pytest.fixture
def files(tmp_path: Path) -> list[Path]:
    (tmp_path / "a.whl").write_bytes(b"wheel")
    (tmp_path / "a.tar.gz").write_bytes(b"archive")
    return [tmp_path / "a.whl", tmp_path / "a.tar.gz"]


def test_it_holds_all_that_runs_with_version_licence_and_hashes(files: list[Path]) -> None:
    runtime = as_installed()
    text = bill(files, PROJECT, runtime, WHEN)
    against_its_schema(text)
    told = json.loads(text)
    assert (told["bomFormat"], told["specVersion"]) == ("CycloneDX", "1.6")
    parts = {part["name"]: part for part in told["components"]}
    assert {n: p["version"] for n, p in parts.items()} == {o.name: o.version for o in runtime}
    for one in runtime:
        part = parts[one.name]
        assert part["purl"] == f"pkg:pypi/{one.name}@{one.version}"
        (file,) = part["externalReferences"]
        assert sorted(h["content"] for h in file["hashes"]) == list(one.sha256)
        (licence,) = part["licenses"]
        assert licence.get("expression") or licence["license"]
    assert parts["pydantic"]["licenses"] == [{"license": {"id": "MIT"}}]
    needs = {d["ref"]: set(d.get("dependsOn", ())) for d in told["dependencies"]}
    assert {*needs["busbook"]} == {n.partition(">")[0] for n in PROJECT["dependencies"]}
    assert {"pydantic-core", "annotated-types"} <= needs["pydantic"]


def test_it_names_the_files_of_the_release_by_their_hashes(files: list[Path]) -> None:
    own = json.loads(bill(files, PROJECT, as_installed(), WHEN))["metadata"]["component"]
    assert (own["version"], own["licenses"]) == (PROJECT["version"], [{"license": {"id": "MIT"}}])
    hashes = {r["url"]: r["hashes"][0]["content"] for r in own["externalReferences"]}
    # `printf wheel | sha256sum`, and of "archive", by GNU coreutils
    assert hashes == {
        "a.whl": "ba59926159d2aa256eb8739b8da7e2b574b960e1202c6d624cbe981cef996c91",
        "a.tar.gz": "0eb3e36bfb24dcd9bb1d1bece1531216b59539a8fde17ee80224af0653c92aa3",
    }


def test_it_is_the_same_whenever_it_is_made(files: list[Path]) -> None:
    runtime = as_installed()
    text = bill(files, PROJECT, runtime, WHEN)
    assert bill(files, PROJECT, runtime[::-1], WHEN) == text
    files[0].write_bytes(b"another")
    other = bill(files, PROJECT, runtime, WHEN)
    assert json.loads(other)["serialNumber"] != json.loads(text)["serialNumber"]


@pytest.mark.parametrize(
    ("one", "told"),
    [
        (Locked("no-such-thing", "1", "", ("0" * 64,)), "its licence is not known"),
        (Locked("numpy", "0.1", "", ("0" * 64,)), "locked as 0.1"),
    ],
)
def test_what_it_cannot_know_it_does_not_say(files: list[Path], one: Locked, told: str) -> None:
    with pytest.raises(SystemExit, match=told):
        bill(files, PROJECT, [*as_installed(), one], WHEN)


def test_a_bill_that_is_none_is_refused(files: list[Path]) -> None:
    told = json.loads(bill(files, PROJECT, as_installed(), WHEN))
    del told["components"][0]["name"]
    with pytest.raises(SystemExit, match="not valid"):
        against_its_schema(json.dumps(told))
