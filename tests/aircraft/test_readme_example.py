"""The profile printed in the guide is read by the program, and says what the text says."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

import telemetry
from telemetry.aircraft import Aircraft
from telemetry.aircraft.profile import path_tree, profile_errors, read_profile
from telemetry.circuit.budget import budget

PAGE = Path(telemetry.__file__).parent / "guide" / "profile.md"


@pytest.fixture
def printed() -> str:
    (example,) = re.findall(r"```toml\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    return str(example)


@pytest.fixture
def plover(printed: str, tmp_path: Path) -> Aircraft:
    path = tmp_path / "plover.toml"
    path.write_text(printed, encoding="utf-8")
    assert profile_errors(path) == ()
    return read_profile(path)


def test_it_is_read_whole(plover: Aircraft, printed: str) -> None:
    for kind, found in (
        ("packs", plover.packs),
        ("supplies", plover.supplies),
        ("nodes", plover.nodes),
        ("servos", plover.servos),
    ):
        assert len(found) == printed.count(f"[[{kind}]]") > 0
    assert "invented" in printed
    assert plover.mirror("right wing") == "left wing"
    assert plover.limits.comfort_v == 6.0
    assert plover.restart_v("left wing") == 3.8


def test_dates_are_read_as_the_comments_say(plover: Aircraft) -> None:
    before, after = plover.on(date(2026, 4, 30)), plover.on(date(2026, 5, 14))
    assert [s.drives for s in before.servos_at("tail")] == ["elevator", "tail wheel"]
    assert [s.drives for s in after.servos_at("tail")] == ["elevator", "rudder"]
    assert [p.label for p in before.packs] == ["A1", None]
    assert [p.label for p in after.packs] == ["C3", None]


def test_it_is_enough_for_tree_and_budget(plover: Aircraft) -> None:
    now = plover.on(date(2026, 6, 1))
    tree = path_tree(now)
    assert all(node.name in tree for node in now.nodes)
    made = budget(now)
    with_leads = {"pack 1", "pack 2", "left wing", "right wing", "tail"}
    assert {lead.place for lead in made.leads} == with_leads
    stalled = {
        p.place: c.voltage_v for p in made.places for c in p.cases if c.case == "all-stalled"
    }
    assert stalled["tail"] is not None


def test_every_key_of_the_example_is_explained(printed: str) -> None:
    listed = PAGE.read_text(encoding="utf-8").partition("\n## Keys\n")[2]
    told = {word for code in re.findall(r"`([^`]+)`", listed) for word in re.findall(r"\w+", code)}
    keys = set(re.findall(r"(?:^|[{,] *)([a-z_0-9]+) = ", printed, re.MULTILINE))
    # A label's own key, and a limit, which every report lists.
    assert keys - told <= {"label", "comfort_v"}
