"""Keys set in a profile: the value is there, and not a character besides has moved."""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.aircraft import Aircraft, Limits, Node, Pack, Servo, Supply
from telemetry.aircraft.parts import Lead
from telemetry.aircraft.profile import new_profile, read_profile, set_keys
from telemetry.model.errors import ProfileError, UnknownSetting

# An invented aircraft, written in every way that TOML allows (v1.0.0).
TEXT = '''\
# head, "with" [brackets] and = signs
version=1
name = "curlew"   # the name
bus = "bus"

[[packs]]   # first
  name = "Pack 1"      # upper case, indented
  cells = 2            # in series
  lead = { awg = 14, length_m = 0.3 } # short

[[packs]]
name = 'pack 2'
lead.awg = 14
lead.length_m = 0.3
[[nodes]]
name = "left wing"
fed_from = "bus"
[nodes.lead]
mm2 = 1.5
length_m = 1.2
# behind the lead
[[nodes]]
name = "right wing"
fed_from = "bus"
mirror = """left wing"""

[[servos]]
node = "left wing"
output = 1
drives = "left aileron"
until = 2026-05-14

[[servos]]
node = "left wing"
output = 1
drives = "left flap"
since = 2026-05-14
'''


def edit(text: str, *places: str, **keys: str) -> str:
    typed = {key.replace("_", "-"): value for key, value in keys.items()}
    return set_keys(text, places, typed, path="curlew.toml")


def changes(old: str, new: str) -> list[str]:
    """The lines that went and came, without their line ends."""
    lines = difflib.unified_diff(old.splitlines(True), new.splitlines(True), n=0)
    return [line.rstrip("\r\n") for line in lines if line[:3] not in ("---", "+++", "@@ ")]


# What is set where, and the lines that differ afterwards.
CASES = {
    "a value that is there": (("pack 1",), {"cells": "3"},
        ["-  cells = 2            # in series", "+  cells = 3            # in series"]),
    "a new key, indented as its table": (("pack 1",), {"capacity": "3200"},
        ["+  capacity_mah = 3200"]),
    "a key by its whole name": (("pack 2",), {"capacity_mah": "2500.5"},
        ["+capacity_mah = 2500.5"]),
    "text": (("pack 2",), {"chemistry": "liion"}, ['+chemistry = "liion"']),
    "two places": (("pack 1", "PACK 2"), {"role": "standby"},
        ['+  role = "standby"', '+role = "standby"']),
    "within braces": (("pack 1",), {"length": "0.5"},
        ["-  lead = { awg = 14, length_m = 0.3 } # short",
         "+  lead = { awg = 14, length_m = 0.5 } # short"]),
    "one more within braces": (("pack 1",), {"wires": "2"},
        ["-  lead = { awg = 14, length_m = 0.3 } # short",
         "+  lead = { awg = 14, length_m = 0.3, wires = 2 } # short"]),
    "one more dotted key": (("pack 2",), {"lead_limit": "12.5"}, ["+lead.limit_a = 12.5"]),
    "below a header of its own": (("left wing",), {"stranded": "false"}, ["+stranded = false"]),
    "above a header of its own": (("left wing",), {"comfort": "6"}, ["+comfort_v = 6"]),
    "a lead where there was none": (("right wing",), {"mm2": "1.5", "length": "1.2"},
        ["+lead = { mm2 = 1.5, length_m = 1.2 }"]),
    "the servo that still holds": (("left wing",), {"output": "1", "count": "2"}, ["+count = 2"]),
    "a servo more": (("right wing",), {"output": "4", "drives": "right flap"},
        ["+", "+[[servos]]", '+node = "right wing"', "+output = 4", '+drives = "right flap"']),
    "the bus": (("bus",), {"regulated": "7.4"}, ["+regulated_v = 7.4"]),
    "the first limit": (("limits",), {"reserve": "25"}, ["+", "+[limits]", "+reserve_pct = 25"]),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
@pytest.mark.parametrize("ends", ["\n", "\r\n"], ids=["lf", "crlf"])
@pytest.mark.parametrize("last", [True, False], ids=["ended", "open end"])
@pytest.mark.parametrize("mark", ["", "\ufeff"], ids=["plain", "byte order mark"])
def test_only_the_lines_that_were_asked_for_change(case, ends, last, mark) -> None:
    places, keys, expected = case
    old = mark + (TEXT if last else TEXT.removesuffix("\n")).replace("\n", ends)
    new = edit(old, *places, **keys)
    if last:
        assert changes(old, new) == expected
    else:  # the end of the last line that was is not counted
        assert [x for x in changes(old + ends, new + ends) if x != "+"][-1] in expected
    assert new.startswith(mark + "# head")
    assert ("\r\n" in new) == (ends == "\r\n")
    assert new.count("\n") == new.count(ends)


def test_setting_the_same_again_changes_nothing() -> None:
    once = edit(TEXT, "pack 1", capacity="3200", awg="16")
    assert edit(once, "pack 1", capacity="3200", awg="16") == once


REFUSED = {
    "unknown place": (("pack 3",), {"cells": "2"}, "no place 'pack 3'", "pack 2"),
    "unknown key": (("pack 1",), {"cels": "2"}, "no key '--cels'", "--cells"),
    "a key of another kind": (("pack 1",), {"mirror": "pack 2"}, "no key '--mirror'", ""),
    "ambiguous without its unit": (("limits",), {"branch_watch": "3"}, "no key", "branch-watch"),
    "no number": (("pack 1",), {"cells": "two"}, "'two' is not allowed", "whole number"),
    "a comma": (("pack 1",), {"capacity": "3,200"}, "'3,200' is not allowed", "a number"),
    "too small": (("pack 1",), {"capacity": "0"}, "0 is not allowed", "above 0"),
    "not finite": (("pack 1",), {"capacity": "nan"}, "is not allowed", "finite"),
    "no word of the list": (("pack 1",), {"chemistry": "coal"}, "'coal'", "'lipo'"),
    "two gauges": (("pack 1",), {"mm2": "1.5"}, "either awg or mm2", ""),
    "a loop": (("left wing",), {"fed_from": "left wing"}, "loop", ""),
    "a table": (("pack 1",), {"labels": "A"}, "is a table", "by hand"),
    "a servo nowhere": (("tail",), {"output": "1", "drives": "x"}, "no place 'tail'", ""),
    "no output": (("left wing",), {"output": "one", "drives": "x"}, "output", "number"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED.values(), ids=REFUSED)
def test_what_is_not_allowed_is_one_sentence(case) -> None:
    places, keys, what, hint = case
    with pytest.raises(UnknownSetting) as error:
        edit(TEXT, *places, **keys)
    told = str(error.value)
    assert what in told
    assert hint in told
    assert told.endswith(".")
    assert "\n" not in told
    assert " line " not in told  # no line of a text that nobody has


def test_a_profile_that_is_wrong_elsewhere_is_told_so() -> None:
    with pytest.raises(ProfileError, match="nodes 1"):
        edit(TEXT.replace("mm2 = 1.5", "mm2 = -1"), "pack 1", cells="2")
    with pytest.raises(ProfileError, match="not valid TOML"):
        edit('name = "cur', "pack 1", cells="2")


def test_what_is_in_one_line_is_left_to_an_editor() -> None:
    text = 'name = "x"\npacks = [{ name = "pack 1" }]\n'
    assert 'name = "pack 1", cells = 2 }' in edit(text, "pack 1", cells="2")
    seen = Aircraft(packs=(Pack(name="pack 1"), Pack(name="pack 2")))
    with pytest.raises(ProfileError, match="by hand"):
        set_keys(text, ["pack 2"], {"cells": "2"}, path="x.toml", seen=seen)


def test_a_place_that_only_the_logs_know_gets_a_table_of_its_own() -> None:
    seen = Aircraft(
        packs=(Pack(name="pack 3"),),
        bus="bus",
        nodes=(Node(name="tail", fed_from="bus"), Node(name="left wing", fed_from="bus")),
    )
    new = set_keys(TEXT, ["pack 3", "tail"], {"length": "1", "awg": "20"}, path="x", seen=seen)
    data = tomllib.loads(new)
    lead = {"length_m": 1, "awg": 20}
    assert new.startswith(TEXT)
    assert data["packs"][2] == {"name": "pack 3", "lead": lead}
    assert data["nodes"][2] == {"name": "tail", "fed_from": "bus", "lead": lead}
    with pytest.raises(UnknownSetting, match="pack 4"):
        set_keys(TEXT, ["pack 4"], {"cells": "2"}, path="x", seen=seen)


def test_every_key_with_a_plain_value_can_be_set(tmp_path: Path) -> None:
    values = {
        int: "3", float: "2.5", bool: "false", str: "left fin",
        "chemistry": "life", "role": "standby", "kind": "receiver", "mirror": "right wing",
        "fed_from": "bus", "since": "2026-01-01", "until": "2026-02-01", "servos": "3",
    }  # fmt: skip
    of_place = {"pack 1": Pack, "left wing": Node, "limits": Limits}
    text = new_profile("curlew")
    set_so_far = 0
    for place, model in of_place.items():
        for key, field in model.model_fields.items():
            if key in ("name", "labels", "lead"):
                continue
            kind = int if "int" in str(field.annotation) else float
            value = values.get(key, "0.5" if model is Limits else values[kind])
            if key in ("stir_factor", "gap_intervals", "branch_over_expected", "return_flights"):
                value = "4"
            text = edit(text, place, **{key: value})
            set_so_far += 1
    assert set_so_far > 40
    path = tmp_path / "curlew.toml"
    path.write_text(text, encoding="utf-8")
    craft = read_profile(path)
    pack, node = craft.pack("pack 1"), craft.node("left wing")
    assert pack is not None
    assert node is not None
    assert (pack.chemistry, pack.cells, pack.capacity_mah) == ("life", 3, 2.5)
    assert (node.kind, node.mirror, node.restart_v) == ("receiver", "right wing", 2.5)
    assert craft.limits.restart_v == 0.5


def test_names_without_units_are_those_of_one_key() -> None:
    from telemetry.aircraft.profile.options import ProfileTable

    for model in (Pack, Supply, Node, Servo, Limits):
        names = ProfileTable(("x",), model, tuple(model.model_fields)).options()
        for key in model.model_fields:
            if key != "lead":
                assert names[key.replace("_", "-")] == (key,)
        if "lead" in model.model_fields:
            for key in Lead.model_fields:
                assert names[f"lead-{key.replace('_', '-')}"] == ("lead", key)
    # Of a supply its own current, of its lead the wire's.
    names = ProfileTable(("x",), Supply, tuple(Supply.model_fields)).options()
    assert (names["limit"], names["lead-limit"]) == (("limit_a",), ("lead", "limit_a"))


@settings(max_examples=200, deadline=None)
@given(
    drives=st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12),
    above=st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=20),
)
def test_any_text_stays_the_same_text(drives: str, above: str) -> None:
    text = f"# {above}\n{TEXT}"
    try:
        new = edit(text, "right wing", output="1", drives=drives)
    except UnknownSetting:
        assert not drives.strip()
        return
    assert tomllib.loads(new)["servos"][2]["drives"] == drives
    assert new.startswith(text)
