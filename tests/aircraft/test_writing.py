"""New profiles from a log, and the path as a tree."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from telemetry.aircraft import Aircraft, Node, Pack, Supply, infer_path
from telemetry.aircraft.profile import new_profile, path_tree, read_profile
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance


def _log(*columns: tuple[str, Quantity], header: str = "col") -> Log:
    channels = tuple(
        Channel(key=f"{p}/{q}", column=f"{header} {p}", quantity=q, place=p) for p, q in columns
    )
    frame = pd.DataFrame({c.key: [1.0, 2.0] for c in channels}, index=pd.Index([0.0, 1.0]))
    prov = Provenance(file="day\n1.csv", sha256="0" * 64, size_bytes=1, rows=2)
    return Log(frame=frame, channels=channels, provenance=prov)


V, A, C = Quantity.VOLTAGE, Quantity.CURRENT, Quantity.CONTROL
FULL = _log(
    ("pack 1", V), ("pack 1", A), ("pack 2", V), ("bus", V), ("regulator", V), ("left wing", V),
    ("left wing", A), ("right wing", V), ("receiver 1", V), ("left aileron", C), ("rudder", C),
)  # fmt: skip
LOGS = {
    "main unit and nodes": FULL,
    "one pack": _log(("pack 1", V), ("pack 1", A)),
    "one pack and a receiver": _log(("pack 1", V), ("receiver 1", V)),
    "a regulator and no bus": _log(("pack 1", V), ("regulator", V), ("tail", V)),
    "nodes without a bus": _log(("left wing", V), ("tail", A)),
    "two packs without a bus": _log(("pack 1", V), ("pack 2", V)),
    "nothing electrical": _log(("rudder", C)),
}


@pytest.mark.parametrize("log", LOGS.values(), ids=LOGS)
def test_a_new_profile_reads_back_as_the_path_of_the_log(tmp_path: Path, log: Log) -> None:
    path = tmp_path / "tern.toml"
    path.write_text(new_profile("Tern", log), encoding="utf-8")
    tern, found = read_profile(path), infer_path(log)
    assert tern.name == "Tern"
    assert [p.name for p in tern.packs] == [p.name for p in found.packs]
    assert [(n.name, n.mirror) for n in tern.nodes] == [(n.name, n.mirror) for n in found.nodes]
    assert {n.fed_from for n in tern.nodes} <= {tern.root}
    assert tern.regulator == found.regulator
    assert tern.limits == found.limits


@pytest.mark.parametrize("log", LOGS.values(), ids=LOGS)
def test_every_example_line_is_allowed_once_its_mark_is_taken_away(
    tmp_path: Path, log: Log
) -> None:
    text = new_profile("Tern", log)
    used = re.sub(r"(?m)^# (?=[a-z0-9_]+ = |\[\[)", "", text)
    used = used.replace("until = 2026-05-14\n", "")
    if '"pack 1"' not in text.split("# fed_from", 1)[0]:
        used += '\n[[packs]]\nname = "pack 1"\n'
    if "\nbus = " not in used:  # the example regulator now stands below the one pack
        used = re.sub(r'(?m)^(fed_from|node) = "pack 1"', r'\1 = "regulator"', used)
    used = used.replace("regulated_v = 7.4", "")  # the example regulator carries it
    path = tmp_path / "tern.toml"
    path.write_text(used, encoding="utf-8")
    tern = read_profile(path)
    assert tern.supplies[0].set_point_v == 7.4
    assert tern.servos[0].stall_a == 4.0
    assert tern.limits.comfort_v == 6.0
    assert all(n.lead is not None for n in tern.nodes)


def test_the_columns_of_each_place_stand_beside_it() -> None:
    line = next(x for x in new_profile("Tern", FULL).splitlines() if x.startswith('name = "left'))
    assert line.endswith("# columns: col left wing; col left wing")


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(
    name=st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12),
    place=st.from_regex(r"[a-z]{1,6} wing [\"'#\[\]\\=]{0,3}[0-9]", fullmatch=True),
    header=st.text(st.characters(exclude_categories=["Cs"]), max_size=8),
)
def test_no_name_breaks_the_text(tmp_path: Path, name: str, place: str, header: str) -> None:
    log = _log((place, V), ("bus", V), header=header)
    path = tmp_path / "any.toml"
    path.write_text(new_profile(name, log), encoding="utf-8", newline="")
    tern = read_profile(path)
    assert tern.name == name
    assert [n.name for n in tern.nodes] == [place]


def test_the_tree_shows_every_part_once() -> None:
    tern = Aircraft.model_validate(
        {
            "name": "Tern",
            "bus": "bus",
            "packs": [
                {"name": "pack 1", "chemistry": "liion", "cells": 2, "parallel": 2,
                 "capacity_mah": 5000, "labels": [{"label": "A1", "since": "2026-05-01"}]},
                {"name": "pack 2", "role": "standby"},
            ],
            "supplies": [{"name": "regulator", "kind": "regulator", "set_point_v": 7.4,
                          "limit_a": 20, "fed_from": ["pack 1", "pack 2"]}],
            "nodes": [
                {"name": "left wing", "fed_from": "bus", "mirror": "right wing",
                 "lead": {"awg": 16, "length_m": 1.2, "connectors": [{}, {}]}},
                {"name": "right wing", "fed_from": "bus", "servos": 3},
            ],
            "servos": [{"node": "left wing", "output": 1, "drives": "left aileron",
                        "stall_a": 4.2, "stall_v": 8.4, "count": 2}],
        }
    )  # fmt: skip
    assert path_tree(tern) == (
        "Tern\n"
        "bus: regulated to 7.4 V\n"
        "|-- from regulator: regulator, 7.4 V, at most 20 A\n"
        "|   |-- from pack 1: liion, 2s2p, 5000 mAh, shared, label A1 (since 2026-05-01)\n"
        "|   `-- from pack 2: standby\n"
        "|-- left wing: lead AWG 16 1.2 m with 2 connectors, mirror of right wing\n"
        "|   `-- output 1: 2 x left aileron, stall 4.2 A at 8.4 V\n"
        "`-- right wing: 3 servos, mirror of left wing\n"
    )


def test_a_path_that_was_only_inferred_is_shown_too() -> None:
    text = path_tree(infer_path(FULL))
    assert text.splitlines()[1] == "bus"
    assert "|-- from pack 1: shared" in text
    assert path_tree(infer_path(LOGS["nodes without a bus"])).splitlines()[1:] == [
        "left wing",
        "tail",
    ]


@given(
    st.lists(st.text("abc de", min_size=1, max_size=60), min_size=1, max_size=12),
    st.randoms(use_true_random=False),
)
def test_no_line_is_longer_than_asked_for(names: list[str], random: object) -> None:
    names = list(dict.fromkeys(n.strip() or "x" for n in names))
    nodes = tuple(
        Node(name=f"{i} {n}", fed_from="bus" if i < 3 else f"{i // 3} {names[i // 3]}")
        for i, n in enumerate(names)
    )
    packs = (Pack(name="pack 1", capacity_mah=5000),)
    switch = Supply(name="switch", kind="switch", fed_from=("pack 1",))
    text = path_tree(
        Aircraft(name="x" * 90, packs=packs, bus="bus", supplies=(switch,), nodes=nodes)
    )
    assert max(len(line) for line in text.splitlines()) <= 80
    for i in range(len(names)):
        assert re.search(rf"(?m)-- {i} ", text), f"node {i} is missing"
