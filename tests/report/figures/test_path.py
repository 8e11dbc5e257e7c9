"""The path as rows: every place once, joined to what lies between it and the root."""

from __future__ import annotations

import pytest

from telemetry.aircraft import Aircraft
from telemetry.report.figures import style
from telemetry.report.figures.path import draw_path, height_pt
from telemetry.report.figures.stops import stops_of
from telemetry.results import Level

PACKS = [{"name": "pack 1"}, {"name": "pack 2"}]
NODES = [
    {"name": "left wing", "fed_from": "bus"},
    {"name": "left flap", "fed_from": "left wing"},
    {"name": "tail", "fed_from": "bus"},
]


def craft(**parts: object) -> Aircraft:
    return Aircraft.model_validate({"bus": "bus", "packs": PACKS, "nodes": NODES, **parts})


def rows(aircraft: Aircraft) -> list[tuple[str, int, tuple[str, ...]]]:
    return [(s.place, s.depth, s.joined) for s in stops_of(aircraft)]


def test_packs_above_nodes_below() -> None:
    assert rows(craft()) == [
        ("pack 1", 1, ("bus",)),
        ("pack 2", 1, ("bus",)),
        ("bus", 0, ()),
        ("left wing", 1, ("bus",)),
        ("left flap", 2, ("left wing",)),
        ("tail", 1, ("bus",)),
    ]


def test_supplies_between_packs_and_bus() -> None:
    two = [
        {"name": "switch 1", "kind": "switch", "fed_from": ["pack 1"]},
        {"name": "switch 2", "kind": "switch", "fed_from": ["pack 2"]},
    ]
    assert rows(craft(supplies=two))[:5] == [
        ("pack 1", 2, ("switch 1",)),
        ("switch 1", 1, ("bus",)),
        ("pack 2", 2, ("switch 2",)),
        ("switch 2", 1, ("bus",)),
        ("bus", 0, ()),
    ]
    one = [{"name": "regulator", "kind": "regulator", "set_point_v": 6.0,
            "fed_from": ["pack 1", "pack 2"]}]  # fmt: skip
    assert rows(craft(supplies=one))[:4] == [
        ("pack 1", 2, ("regulator",)),
        ("pack 2", 2, ("regulator",)),
        ("regulator", 1, ("bus",)),
        ("bus", 0, ()),
    ]


def test_a_pack_that_feeds_two_supplies_stands_once() -> None:
    both = [
        {"name": "switch 1", "kind": "switch", "fed_from": ["pack 1"]},
        {"name": "switch 2", "kind": "switch", "fed_from": ["pack 1", "pack 2"]},
    ]
    found = rows(craft(supplies=both))
    assert [place for place, _, _ in found].count("pack 1") == 1
    assert set(next(joined for place, _, joined in found if place == "pack 1")) == {
        "switch 1",
        "switch 2",
    }


@pytest.mark.parametrize(
    ("parts", "places"),
    [
        ({"bus": None, "packs": PACKS[:1], "nodes": [{"name": "receiver 1", "fed_from": "pack 1"}]},
         ["pack 1", "receiver 1"]),
        ({"bus": None, "nodes": []}, ["pack 1", "pack 2"]),
        ({"bus": None, "packs": [], "nodes": [{"name": "tail"}]}, ["tail"]),
        ({"packs": [], "nodes": []}, ["bus"]),
    ],
    ids=["one pack and a receiver", "packs joined nowhere", "a lone node", "a bus alone"],
)  # fmt: skip
def test_every_layout_has_all_its_places(parts: dict[str, object], places: list[str]) -> None:
    assert [s.place for s in stops_of(craft(**parts))] == places


def test_what_is_drawn() -> None:
    aircraft = craft()
    fig = style.new_figure(390, height_pt(aircraft))
    ax = style.axes_at(fig, 0, 0, 390, height_pt(aircraft))
    numbers = {"bus": ("7.81", "12.3"), "tail": ("7.63", "5.3")}
    draw_path(ax, aircraft, ("low V", "high A"), numbers, {"bus": 12.3, "tail": 5.3, "pack 1": 6.0},
              {"tail": Level.WATCH, "left wing": Level.GROUND, "bus": Level.CLEAR})  # fmt: skip
    texts = {t.get_text(): t.get_position() for t in ax.texts}
    assert set(texts) >= {"low V", "high A", "pack 1", "left flap", "tail", "7.81", "5.3"}
    assert texts["7.81"][1] == texts["bus"][1], "numbers stand in the row of their place"
    assert texts["7.81"][0] == texts["7.63"][0] == texts["low V"][0], "and under their heading"
    lines = {x.get_gid(): x for x in ax.lines if x.get_gid()}
    assert set(lines) == {"line-pack 1", "line-pack 2", "line-left wing", "line-left flap",
                          "line-tail"}  # fmt: skip
    assert lines["line-pack 1"].get_linewidth() > lines["line-tail"].get_linewidth()
    assert lines["line-tail"].get_linewidth() > lines["line-pack 2"].get_linewidth()
    marks = [x.get_marker() for x in ax.lines if x.get_marker() in ("^", "8")]
    assert sorted(marks) == ["8", "^"], "watch and ground by shape, clear without a mark"
