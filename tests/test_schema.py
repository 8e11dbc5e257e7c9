"""What version 1 wrote, today's program reads and writes; see tests/schema1."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from telemetry.aircraft.profile import new_profile, profile_errors, read_profile
from telemetry.model.errors import ProfileError
from telemetry.report.writers.json import document, dumps, history_document
from telemetry.results import History, Review

KEPT = Path(__file__).parent / "schema1"
KINDS = ("review", "history", "budget")


def kept(kind: str) -> dict[str, Any]:
    content: dict[str, Any] = json.loads((KEPT / f"{kind}.json").read_text(encoding="utf-8"))
    return content


def paths(value: Any, path: str = "") -> Iterator[str]:
    """Every key of a document by the way that leads to it."""
    if isinstance(value, dict):
        for key, part in value.items():
            yield f"{path}.{key}"
            yield from paths(part, f"{path}.{key}")
    elif isinstance(value, list):
        for part in value:
            yield from paths(part, f"{path}[]")


@pytest.mark.parametrize("kind", KINDS)
def test_the_documents_of_version_1_keep_the_contract(
    kind: str, contract_breaches: Callable[[dict[str, Any]], list[str]]
) -> None:
    assert kept(kind)["schema"] == f"busbook.{kind}/1"
    assert contract_breaches(kept(kind)) == []


def test_a_breach_is_noticed(contract_breaches: Callable[[dict[str, Any]], list[str]]) -> None:
    content = kept("review")
    for change, words in (
        (lambda r: r["log"].pop("sha256"), "reviews[].log lacks sha256"),
        (lambda r: r["flights"][0]["events"][0].update(depth_v="0.5"), "depth_v is '0.5'"),
        (lambda r: r["columns"][0].update(used=1), "used is 1"),
        (lambda r: r["flights"][0].update(start_s=True), "start_s is True"),
        (lambda r: r["findings"][0].update(evidence=None), "evidence is None"),
    ):
        changed = copy.deepcopy(content)
        change(changed["reviews"][0])
        (found,) = contract_breaches(changed)
        assert words in found


def test_no_key_of_version_1_has_gone(review: Review, history: History) -> None:
    """Of the same invented aircraft; keys of evidence are those of the finding."""
    failed = [("broken.csv", "broken.csv: no time column.")]
    now = {"review": document([review], failed), "history": history_document(history)}
    for kind, content in now.items():
        gone = set(paths(kept(kind))) - set(paths(json.loads(dumps(content))))
        assert {p for p in gone if ".evidence." not in p} == set(), kind


def test_a_profile_of_version_1_is_read() -> None:
    aircraft = read_profile(KEPT / "profile.toml")
    assert profile_errors(KEPT / "profile.toml") == ()
    assert (aircraft.name, aircraft.bus, aircraft.regulated_v) == ("Curlew (invented)", "bus", 7.4)
    (pack, spare) = aircraft.packs
    assert (pack.chemistry, pack.cells, pack.parallel, pack.capacity_mah) == ("liion", 2, 2, 6000)
    assert (pack.role, spare.role, pack.resistance_mohm) == ("shared", "standby", 35.0)
    assert [label.label for label in pack.labels] == ["A1", "A2"]
    assert pack.lead is not None
    assert (pack.lead.awg, pack.lead.length_m, pack.lead.wires) == (14, 0.3, 1)
    switch, regulator = aircraft.supplies
    assert (switch.kind, switch.fed_from, switch.dropout_v) == ("diode", ("pack 1",), 0.3)
    assert (regulator.set_point_v, regulator.limit_a) == (7.4, 20.0)
    left, right = aircraft.nodes
    assert (left.fed_from, left.mirror, left.restart_v, left.comfort_v) == (
        "bus", "right wing", 3.6, 6.0,
    )  # fmt: skip
    assert right.servos == 3
    assert left.lead is not None
    assert (left.lead.mm2, left.lead.stranded, left.lead.limit_a) == (1.5, True, 12.0)
    (plug,) = left.lead.connectors
    assert (plug.kind, plug.pins, plug.contact_mohm, plug.pin_a) == ("panel", 2, 3.0, 6.0)
    old, new = aircraft.servos
    assert (old.drives, old.output, old.count, old.stall_a) == ("left aileron", 1, 2, 4.0)
    assert str(old.until) == str(new.since) == "2026-05-14"
    assert aircraft.limits.restart_v == 3.6


def test_a_new_profile_says_its_version(tmp_path: Path) -> None:
    path = tmp_path / "tern.toml"
    path.write_text(new_profile("Tern"), encoding="utf-8")
    assert "\nversion = 1 " in path.read_text(encoding="utf-8")
    assert read_profile(path).name == "Tern"


@pytest.mark.parametrize(
    ("version", "words"),
    [
        ("2", "this profile is of a newer busbook (version 2; this one knows up to 1); install"),
        ("0", "0 is no version of a profile; leave the key out or write version = 1"),
        ("true", "True is no version of a profile"),
        ('"1"', "'1' is no version of a profile"),
    ],
)
def test_other_versions_of_a_profile(version: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "tern.toml"
    path.write_text(f'name = "Tern"\nversion = {version}\nnew_key = 1\n')
    (error,) = profile_errors(path)
    assert words in str(error)
    assert (error.line, error.column) == (2, "version")
    with pytest.raises(ProfileError):
        read_profile(path)
