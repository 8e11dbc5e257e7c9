"""Logs of another physics (``tests/simulated/scenes.py``): what an expert sees at one look."""

from __future__ import annotations

from pathlib import Path

import pytest

from telemetry.app.pipeline import review
from telemetry.importer import read_log
from telemetry.results import Level, Review
from tests.simulated.scenes import HEALTHY, Scene, make

NOT_RESTING, RISING, SILENT = "servo-not-resting", "servo-current-rising", "servo-silent"


def reviewed(scene: Scene, folder: Path) -> Review:
    return review(read_log(scene.write(folder / "made.csv")))


@pytest.mark.parametrize("kind", HEALTHY)
def test_a_healthy_aircraft_is_not_accused(kind: str, tmp_path: Path) -> None:
    found = reviewed(make(31, kind, update_s=0.2), tmp_path).findings
    assert [f.title for f in found if f.level >= Level.WATCH] == []


@pytest.mark.parametrize(
    ("fault", "kind", "codes", "grounds"),
    [
        ("rests high", "aerobatic", {NOT_RESTING}, None),
        ("idle up", "scale", {RISING}, False),
        ("stall short", "warbird", {RISING}, False),
        ("stall long", "aerobatic", {RISING}, None),
        ("servo dead", "gusts", {SILENT}, None),
        ("node dead", "aerobatic", {SILENT}, True),
        ("stays up", "glider", {NOT_RESTING, RISING}, False),
        ("hunts", "retracts", {NOT_RESTING, RISING}, False),
        ("fights", "jet", {NOT_RESTING}, None),
        ("heats", "aerobatic", {"servo-heating", RISING}, False),
        ("draws more", "aerobatic", {RISING}, False),
    ],
)
def test_a_fault_is_found_at_its_place(
    fault: str, kind: str, codes: set[str], grounds: bool | None, tmp_path: Path
) -> None:
    scene = make(6, kind, fault, update_s=0.2)
    found = reviewed(scene, tmp_path).findings
    here = [f for f in found if f.place == scene.where and f.code in codes]
    assert len(here) == 1, [f.title for f in found]
    servo = {NOT_RESTING, RISING, SILENT, "servo-heating"}
    assert {f.place for f in found if f.code in servo} == {scene.where}
    assert here[0].explanations
    assert here[0].evidence
    if grounds is not None:
        assert (here[0].level is Level.GROUND) is grounds
    if fault in ("idle up", "stall short", "stall long", "node dead"):
        assert here[0].start_s == pytest.approx(scene.since_s, abs=8.0)


@pytest.mark.parametrize(
    ("fault", "kind", "code"),
    [
        ("lead changed", "aerobatic", "branch-resistance-rising"),
        ("lead high alone", "warbird", "branch-resistance-high"),
        ("lead high apparent", "aerobatic", "branch-resistance-high"),
        ("lead high mirrored", "gusts", "branch-resistance-high"),
    ],
)
def test_a_bad_lead_is_found_at_its_place(fault: str, kind: str, code: str, tmp_path: Path) -> None:
    scene = make(9, kind, fault, update_s=0.2)
    found = reviewed(scene, tmp_path).findings
    here = [f for f in found if f.place == scene.where and f.code == code]
    assert len(here) == 1, [f.title for f in found]
    assert {f.place for f in found if f.code == code} == {scene.where}
    if fault == "lead changed":
        assert here[0].start_s == pytest.approx(scene.since_s, abs=10.0)
        assert here[0].evidence["change_mohm"] == pytest.approx(1000 * scene.size, rel=0.15)


def test_every_check_of_a_node_says_what_it_would_have_seen(tmp_path: Path) -> None:
    found = reviewed(make(31, "aerobatic", update_s=0.2), tmp_path)
    for code in (NOT_RESTING, RISING, SILENT, "servo-heating", "branch-resistance-rising"):
        here = [c for c in found.checks if c.code == code and c.place == "left wing"]
        assert [c.outcome for c in here] == ["passed"], code
        assert here[0].sees


def test_a_steady_load_of_a_lone_node_is_said_and_not_judged(tmp_path: Path) -> None:
    """Two amperes in the fuselage, in every row: a pump, or servos that strain."""
    scene = make(31, "jet", update_s=0.2)
    for title in ("Fuselage current (A)", "Bus current (A)"):
        scene.columns[title] = scene.columns[title] + 1.2
    found = reviewed(scene, tmp_path)
    here = [f for f in found.findings if f.code == NOT_RESTING]
    assert [(f.place, f.level) for f in here] == [("fuselage", Level.CLEAR)]
    assert here[0].explanations[0].startswith("a load by design")
    (check,) = (c for c in found.checks if (c.code, c.place) == (NOT_RESTING, "fuselage"))
    assert (check.outcome, found.verdict) == ("not-judged", Level.UNKNOWN)
    assert check.why
    assert check.next_time
