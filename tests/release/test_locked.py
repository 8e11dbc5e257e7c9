"""The locks say all that the project asks for, with hashes, and name no place to take it from."""

from __future__ import annotations

import re
import tomllib

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.release.locked import ALL, ROOT, RUNTIME, locked

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
EXTRAS = PROJECT["project"]["optional-dependencies"]


@pytest.mark.parametrize(
    ("lock", "wanted"),
    [
        (RUNTIME, PROJECT["project"]["dependencies"]),
        (ALL, PROJECT["project"]["dependencies"]),
        *((ALL, EXTRAS[name]) for name in ("test", "lint", "release")),
        (ALL, PROJECT["build-system"]["requires"]),
    ],
)
def test_what_is_declared_is_locked_at_a_version_that_is_allowed(lock, wanted) -> None:
    """Where this fails, .ci/lock renews the locks."""
    versions = {one.name: one.version for one in locked(lock)}
    for text in wanted:
        need = Requirement(text)
        assert versions.get(canonicalize_name(need.name), "0") in need.specifier, text


def test_what_runs_is_the_same_in_both() -> None:
    assert {*locked(RUNTIME)} <= {*locked(ALL)}


@pytest.mark.parametrize("lock", [ALL, RUNTIME], ids=lambda p: p.name)
def test_every_file_has_its_hash_and_none_its_place(lock) -> None:
    everything = locked(lock)
    assert len({(one.name, one.marker) for one in everything}) == len(everything) > 20
    for one in everything:
        assert one.sha256, one.name
        assert all(re.fullmatch("[0-9a-f]{64}", h) for h in one.sha256), one.name
    assert not re.search(r"://|^-", lock.read_text(encoding="utf-8"), re.MULTILINE)
