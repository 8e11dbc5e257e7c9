"""Profiles are read, and whatever is wrong with one is told with its line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from telemetry.aircraft import Aircraft
from telemetry.aircraft.profile import profile_errors, read_profile
from telemetry.model.errors import ProfileError

# An invented aircraft; the numbers beside it are its lines.
TERN = """\
name = "Tern"
bus = "bus"
[limits]
restart_v = 3.8
[[packs]]
name = "pack 1"
chemistry = "liion"
cells = 2
parallel = 2
capacity_mah = 5000
labels = [{ label = "A1", until = 2026-05-01 },
  { label = "A2", since = 2026-05-01 }]
lead = { awg = 14, length_m = 0.3, connectors = [{ kind = "panel" }] }
[[packs]]
name = "pack 2"
[[supplies]]
name = "regulator"
kind = "regulator"
fed_from = ["pack 1", "pack 2"]
set_point_v = 7.4
[[nodes]]
name = "Left wing"
fed_from = "bus"
mirror = "right wing"
lead = { awg = 16, length_m = 1.2, connectors = [{ pins = 2 }, { pins = 2 }] }
[[nodes]]
name = "right wing"
fed_from = "bus"
  [nodes.lead]
  mm2 = 1.5
  length_m = 1.2
[[servos]]
node = "left wing"
output = 1
drives = "left aileron"
stall_a = 4.2
stall_v = 8.4
until = 2026-05-14
[[servos]]
node = "left wing"
output = 1
drives = "rudder"
since = 2026-05-14
"""

Write = Callable[[str], Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def _write(text: str) -> Path:
        path = tmp_path / "tern.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return _write


def test_a_sound_profile_is_read_whole(write: Write) -> None:
    tern = read_profile(write(TERN))
    assert isinstance(tern, Aircraft)
    assert tern.limits.restart_v == 3.8
    assert tern.packs[0].lead is not None
    assert tern.packs[0].lead.connectors[0].kind == "panel"
    assert tern.node("left wing") is not None, "names of places are lower case inside"
    assert tern.node("right wing").lead.mm2 == 1.5
    assert tern.regulated_v == 7.4
    assert not tern.inferred
    assert profile_errors(write(TERN)) == ()


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "tern.toml"
    path.write_text(TERN, encoding="utf-8-sig")
    assert read_profile(path).name == "Tern"


RIGHT = 'name = "right wing"\nfed_from = "bus"\n'
BAD = [
    # what is wrong, the sound text, the bad text, line, key, words of the sentence
    ("unknown key", "restart_v", "restart_vv", 4, "limits.restart_vv",
     "nearest known is 'restart_v'"),
    ("unknown table", "[limits]", "[limit]", 3, "limit", "nearest known is 'limits'"),
    ("misspelt needed key", "length_m = 0.3", "lenght_m = 0.3", 13, "packs 1.lead.lenght_m",
     "unknown key 'lenght_m'; the nearest known is 'length_m'"),
    ("key set by the program", 'bus = "bus"', 'inferred = true\nbus = "bus"', 2, "inferred",
     "'inferred' is no key"),
    ("missing key", 'name = "pack 2"', "cells = 2", 14, "packs 2.name", "'name' is missing"),
    ("two roots", RIGHT, RIGHT.replace("bus", "bus 2") + '[[nodes]]\nname = "bus 2"\n', 30,
     "nodes 3.name", "two roots: 'bus 2' feeds 'right wing' but hangs on nothing, beside 'bus'"),
    ("a pack beside the bus", RIGHT, RIGHT.replace('"bus"', '"pack 1"'), 28, "nodes 2.fed_from",
     "two roots: 'right wing' hangs on 'pack 1' beside 'bus'"),
    ("a pack left over", '["pack 1", "pack 2"]', '["pack 1"]', 15, "packs 2.name",
     "two roots: 'pack 2' does not feed 'bus'"),
    ("a loop", RIGHT, RIGHT.replace('"bus"', '"right tip"')
     + '[[nodes]]\nname = "right tip"\nfed_from = "right wing"\n', 28, "nodes 2.fed_from",
     "loop: right wing from right tip from right wing"),
    ("a loop of supplies", '["pack 1", "pack 2"]', '["pack 1", "pack 2", "regulator"]', 19,
     "supplies 1.fed_from", "loop through 'regulator'"),
    ("a node fed by itself", RIGHT, RIGHT.replace('"bus"', '"right wing"'), 28, "nodes 2.fed_from",
     "loop: right wing from right wing"),
    ("a node without a feed", RIGHT, 'name = "right wing"\n', 27, "nodes 2.name",
     "nothing feeds the node 'right wing'; say what feeds it, as fed_from = \"bus\""),
    ("fed from nowhere", RIGHT, RIGHT.replace('"bus"', '"buss"'), 28, "nodes 2.fed_from",
     "'buss' is no place of this profile that could feed another; the nearest known is 'bus'"),
    ("mirror pointing nowhere", 'mirror = "right wing"', 'mirror = "rihgt wing"', 24,
     "nodes 1.mirror", "mirror 'rihgt wing' of 'left wing' is no other node"),
    ("mirror of itself", 'mirror = "right wing"', 'mirror = "left wing"', 24, "nodes 1.mirror",
     "no other node"),
    ("mirrors that disagree", RIGHT, RIGHT + 'mirror = "tail"\n[[nodes]]\nname = "tail"\n'
     'fed_from = "bus"\n', 24, "nodes 1.mirror", "names 'tail' as its own; mirrors come in pairs"),
    ("negative length", "length_m = 1.2, c", "length_m = -1.2, c", 25, "nodes 1.lead.length_m",
     "-1.2 is not allowed: it must be above 0; one-way length, m"),
    ("impossible gauge", "awg = 16", "awg = 99", 25, "nodes 1.lead.awg",
     "99 is not allowed: it must be at most 40; wire gauge, AWG 0 to 40"),
    ("half a gauge", "awg = 16", "awg = 16.5", 25, "nodes 1.lead.awg", "it must be a whole number"),
    ("impossible section", "mm2 = 1.5", "mm2 = 0", 30, "nodes 2.lead.mm2", "at least 0.005"),
    ("two gauges", "awg = 16", "awg = 16, mm2 = 1.5", 25, "nodes 1.lead", "either awg or mm2"),
    ("no number", "mm2 = 1.5", 'mm2 = "thick"', 30, "nodes 2.lead.mm2", "'thick' is not allowed"),
    ("not finite", "capacity_mah = 5000", "capacity_mah = inf", 10, "packs 1.capacity_mah",
     "a finite number"),
    ("unknown chemistry", '"liion"', '"lead"', 7, "packs 1.chemistry",
     "'lead' is not allowed: it must be 'lipo', 'liion', 'life' or 'nimh'"),
    ("no list", 'fed_from = ["pack 1", "pack 2"]', 'fed_from = "pack 1"', 19, "supplies 1.fed_from",
     "it must be a list"),
    ("two servos on one output", "until = 2026-05-14\n", "", 40, "servos 2.output",
     "'left aileron' and 'rudder' are on output 1 of 'left wing' at the same date"),
    ("servo on no node", 'node = "left wing"\noutput = 1\ndrives = "rudder"',
     'node = "left wnig"\noutput = 1\ndrives = "rudder"', 40, "servos 2.node", "no node is named"),
    ("stall without voltage", "stall_v = 8.4\n", "", 32, "servos 1", "belong together"),
    ("ends before it begins", "until = 2026-05-14", "until = 2026-05-14\nsince = 2026-06-01", 32,
     "servos 1", "until (2026-05-14) must lie after since (2026-06-01)"),
    ("two labels at once", ', until = 2026-05-01 }', " }", 12, "packs 1.labels 2",
     "carries the labels 'A1' and 'A2' at the same date"),
    ("one pack in two places", 'name = "pack 2"', 'name = "pack 2"\nlabels = [{ label = "A2" }]',
     16, "packs 2.labels 1", "the pack labelled 'A2' is 'pack 1' and 'pack 2' at the same date"),
    ("no date", "since = 2026-05-14", 'since = "spring"', 43, "servos 2.since", "'spring'"),
    ("two places of one name", 'name = "pack 2"', 'name = "pack 1"', 15, "packs 2.name",
     "two places are named 'pack 1'"),
    ("set-point given twice", 'bus = "bus"', 'bus = "bus"\nregulated_v = 6', 3, "regulated_v",
     "regulated_v is 6 but a regulator's set-point 7.4"),
    ("a switch with a set-point", 'kind = "regulator"', 'kind = "switch"', 16, "supplies 1",
     "a regulator, and nothing else, has a set_point_v"),
    ("key given twice", 'bus = "bus"', 'bus = "bus"\nbus = "main"', 3, None, "each key once"),
    ("no value", 'bus = "bus"', "bus =", 2, None, "not valid TOML: Invalid value"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("sound", "bad", "line", "key", "words"), [b[1:] for b in BAD], ids=[b[0] for b in BAD]
)
def test_what_is_wrong_is_told_in_one_sentence_with_its_line(
    write: Write, sound: str, bad: str, line: int, key: str | None, words: str
) -> None:
    assert sound in TERN
    path = write(TERN.replace(sound, bad, 1))
    with pytest.raises(ProfileError) as caught:
        read_profile(path)
    error = caught.value
    assert words in str(error)
    assert (error.line, error.column) == (line, key)
    where = f"{path} line {line}" + ("" if key is None else f" key '{key}'") + ": "
    assert str(error).startswith(where)
    assert "\n" not in str(error)
    assert str(error).endswith(".")
    assert not str(error).endswith(("..", "?.")), str(error)


def test_all_errors_come_at_once_in_the_order_of_lines(write: Write) -> None:
    text = TERN.replace("restart_v", "restart_w").replace("awg = 16", "awg = -2")
    assert [e.line for e in profile_errors(write(text))] == [4, 25]


def test_packs_that_no_bus_joins_are_two_roots(write: Write) -> None:
    text = '[[packs]]\nname = "pack 1"\n[[packs]]\nname = "pack 2"\n'
    text += '[[nodes]]\nname = "tail"\nfed_from = "pack 1"\n'
    (error,) = profile_errors(write(text))
    assert "two roots" in str(error)
    assert error.line == 7


def test_a_node_that_feeds_others_may_be_the_forgotten_bus(write: Write) -> None:
    text = '[[packs]]\nname = "p1"\n[[packs]]\nname = "p2"\n[[nodes]]\nname = "main"\n'
    text += '[[nodes]]\nname = "tail"\nfed_from = "main"\n'
    (error,) = profile_errors(write(text))
    assert 'write bus = "main" at the top' in str(error)


def test_a_text_that_breaks_off_is_told_at_its_last_line(write: Write) -> None:
    (error,) = profile_errors(write('name = "a"\nbus = "bus'))
    assert error.line == 2


def test_a_file_that_cannot_be_read_says_why(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="cannot be read"):
        read_profile(tmp_path / "none.toml")
    picture = tmp_path / "picture.toml"
    picture.write_bytes(b"\x89PNG\xff\xfe")
    with pytest.raises(ProfileError, match="no UTF-8 text"):
        read_profile(picture)


@pytest.mark.parametrize("value", ["5", "[5]", "{}", '"x"', "[[]]", "[{}]"])
@pytest.mark.parametrize("key", sorted(set(Aircraft.model_fields) - {"name"}))
def test_no_value_of_the_wrong_kind_escapes_as_anything_else(
    write: Write, key: str, value: str
) -> None:
    """Whatever stands where a table should, the answer is a profile or a ProfileError."""
    for error in profile_errors(write(f"{key} = {value}\n")):
        assert error.line == 1


def test_the_path_is_checked_although_values_are_wrong(write: Write) -> None:
    path = write(
        """name = "x"
bus = "bus"
[[nodes]]
name = "left wing"
fed_from = "bus"
lead = { awg = 77, length_m = -1 }
[[servos]]
node = "left wing"
output = -1
drives = "aileron"
[[nodes]]
name = "right wing"
mirror = "left wnig"
[[nodes]]
fed_from = "right wing"
[[servos]]
node = "fin"
output = 1
drives = "rudder"
"""
    )
    told = [(e.line, str(e).split("key ")[1].split(":")[0]) for e in profile_errors(path)]
    assert told == [
        (6, "'nodes 1.lead.length_m'"),
        (6, "'nodes 1.lead.awg'"),
        (9, "'servos 1.output'"),
        (12, "'nodes 2.name'"),  # nothing feeds it
        (13, "'nodes 2.mirror'"),
        (14, "'nodes 3.name'"),  # has none
        (17, "'servos 2.node'"),
    ]


def test_no_problem_is_told_that_follows_from_a_wrong_value(write: Write) -> None:
    path = write(
        """name = "x"
bus = "bus"
[[nodes]]
name = "left wing"
fed_from = 5
[[nodes]]
name = "tip"
fed_from = "left wing"
"""
    )
    assert [(e.line, e.column) for e in profile_errors(path)] == [(5, "nodes 1.fed_from")]


def test_nodes_that_hang_on_the_bus_name_it(write: Write) -> None:
    path = write('[[nodes]]\nname = "left wing"\nfed_from = "bus"\n')
    assert read_profile(path).bus == "bus"
