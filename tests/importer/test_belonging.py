"""Columns of one place under two names, sides that two names tell, and copies that are none."""

from __future__ import annotations

from pathlib import Path

import pytest

import telemetry
from tests.simulated import scenes

LEFT, RIGHT = "Left wing", "Right wing"


def log_with(folder: Path, titles: dict[str, str], *, fault: str = "") -> telemetry.Log:
    """A flight whose wings are titled so."""
    scene = scenes.make(3, "aerobatic", fault, update_s=0.2, controls=False)
    scene.columns = {titles.get(title, title): v for title, v in scene.columns.items()}
    return telemetry.read_log(scene.write(folder / "two names.csv"))


def wings(left_v: str, left_a: str, right_v: str, right_a: str) -> dict[str, str]:
    """New titles of the wings' columns."""
    new = (left_v, left_a, right_v, right_a)
    quantities = ("voltage (V)", "current (A)")
    old = [f"{side} {q}" for side in (LEFT, RIGHT) for q in quantities]
    return dict(zip(old, new, strict=True))


@pytest.mark.parametrize(
    "titles",
    [
        wings("Left volts", "Port amps", "Right volts", "Starboard amps"),
        wings("FL li U", "FL li I", "FL re U", "FL re I"),
        wings("Fl\u00e4che links V", "Fl. li. Strom", "Fl\u00e4che rechts V", "Fl. re. Strom"),
        wings("WL U", "Left wing I", "WR U", "Right wing I"),
        wings("Wing L supply (V)", "Aileron L current (A)", "Wing R supply (V)",
              "Aileron R current (A)"),
        wings("aile G (V)", "aile G (A)", "aile D (V)", "aile D (A)"),
        wings("ala izq V", "ala izq A", "ala der V", "ala der A"),
    ],
    ids=lambda titles: next(iter(titles.values())),
)  # fmt: skip
def test_a_wing_under_two_names_is_one_place(tmp_path: Path, titles: dict[str, str]) -> None:
    review = telemetry.review(log_with(tmp_path, titles))
    assert review.verdict == "clear"
    resistances = {r.place: r.mohm for r in review.flights[0].resistances}
    assert resistances["left wing"]
    assert resistances["right wing"]
    assert review.aircraft.mirror("left wing") == "right wing"


@pytest.mark.parametrize(
    "titles",
    [
        wings("Vk1 (V)", "Port panel load (A)", "Vk2 (V)", "Stbd panel load (A)"),
        wings("Supply L V", "Servos L A", "Supply R V", "Servos R A"),
    ],
    ids=lambda titles: next(iter(titles.values())),
)
def test_halves_that_nothing_joins_leave_a_log_unknown(
    tmp_path: Path, titles: dict[str, str]
) -> None:
    review = telemetry.review(log_with(tmp_path, titles))
    assert review.verdict == "unknown"
    assert "--set" in review.findings[0].confirm


@pytest.mark.parametrize(
    ("titles", "places"),
    [
        (("FlLi", "FlRe", "LwLi", "LwRe"), {"fl left", "fl right", "lw left", "lw right"}),
        (("ala_izquierda", "ala_derecha", "estabilizador_izquierdo", "estabilizador_derecho"),
         {"left wing", "right wing", "left stab", "right stab"}),
        (("aile G", "aile D", "stab G", "stab D"),
         {"left wing", "right wing", "left stab", "right stab"}),
    ],
    ids=("German codes", "Spanish", "French letters"),
)  # fmt: skip
def test_two_pairs_of_sides_are_four_places(
    tmp_path: Path, titles: tuple[str, ...], places: set[str]
) -> None:
    scene = scenes.make(3, "aerobatic", update_s=0.2, controls=False)
    old = (LEFT, RIGHT, "Tail", "Fuselage")
    new = {
        f"{a} {q}": f"{b} {short}"
        for a, b in zip(old, titles, strict=True)
        for q, short in (("voltage (V)", "U"), ("current (A)", "I"))
    }
    scene.columns = {new.get(title, title): v for title, v in scene.columns.items()}
    log = telemetry.read_log(scene.write(tmp_path / "pairs.csv"))
    assert {c.place for c in log.channels if c.place} == {"bus", *places}
    aircraft = telemetry.review(log).aircraft
    for place in places:
        side, other = ("left", "right") if "left" in place else ("right", "left")
        assert aircraft.mirror(place) == place.replace(side, other)


def test_columns_with_other_values_are_no_copies(tmp_path: Path) -> None:
    titles = {f"{LEFT} current (A)": "Total load (A)"}
    log = log_with(tmp_path, titles)
    (bus,) = [c for c in log.channels if (c.place, c.quantity) == ("bus", "current")]
    (apart,) = [c for c in log.channels if c.column == "Total load (A)"]
    assert bus.column == "Bus current (A)"
    assert apart.quantity == "unknown"
    assert "other values" in apart.reason
    assert any("Total load (A)" in note for note in log.provenance.notes)


def test_a_copy_by_another_receiver_stays_a_copy(tmp_path: Path) -> None:
    scene = scenes.make(3, "aerobatic", update_s=0.2, controls=False)
    late = scene.columns["Bus voltage (V)"].copy()
    late[2:] = late[:-2] * 1.01 + 0.03  # polled later, with a sensor of its own
    scene.columns["Main bus voltage (V)"] = late
    log = telemetry.read_log(scene.write(tmp_path / "copies.csv"))
    assert len([c for c in log.channels if (c.place, c.quantity) == ("bus", "voltage")]) == 2
    assert telemetry.review(log).verdict == "clear"


def test_a_letter_among_letters_is_a_place(tmp_path: Path) -> None:
    """N is no number where B, T and WL stand for places: it became the bus."""
    scene = scenes.make(3, "aerobatic", update_s=0.2, controls=False)
    new = {"Bus": "B", LEFT: "WL", RIGHT: "WR", "Tail": "T", "Fuselage": "N"}
    scene.columns = {
        f"{new[place]}.{'U' if q.startswith('v') else 'I'}": v
        for title, v in scene.columns.items()
        for place, _, q in [title.rpartition(" (")[0].rpartition(" ")]
        if place in new and (place != "Fuselage" or q == "voltage")
    } | {"Time (s)": scene.columns["Time (s)"]}
    log = telemetry.read_log(scene.write(tmp_path / "letters.csv"))
    places = {c.column: c.place for c in log.channels if c.quantity == "voltage"}
    assert places == {"B.U": "b", "WL.U": "wl", "WR.U": "wr", "T.U": "t", "N.U": "n"}
    review = telemetry.review(log)
    assert review.aircraft.bus == "b"
    assert review.aircraft.mirror("wl") == "wr"
