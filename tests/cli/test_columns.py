"""``busbook columns``: how columns are read, settled and remembered."""

from __future__ import annotations

import json
import shlex
import tomllib
from pathlib import Path
from typing import Any

import pytest


def test_every_column_is_listed_with_its_reading_and_reason(run, log) -> None:
    result = run("columns", log)
    assert result.exit_code == 0
    assert result.stderr == ""
    lines = [x for x in result.stdout.splitlines() if str(log) not in x]
    assert max(map(len, lines)) <= 80
    for header, reading in (
        ("Time [s]", "time"),
        ("Bus U [V]", "bus/voltage[V]"),
        ("Left wing I [A]", "left wing/current[A]"),
        ("Right wing I [A]", "right wing/current[A]"),
    ):
        (line,) = [x for x in lines if x.lstrip(" ?-0123456789").startswith(header)]
        assert line.endswith(reading)
    assert result.stdout.splitlines()[-1] == f"next: busbook review {log}"


def test_a_setting_is_shown_and_kept_in_a_map_for_the_next_log(run, tmp_path, log_text) -> None:
    _, body = log_text.split("\n", 1)
    names = ["Field 0", "Field 1", "Field 2", "Field 3", "Field 4", "Field 5"]
    first, second = tmp_path / "sat.csv", tmp_path / "sun.csv"
    for path in (first, second):
        path.write_text(",".join(names) + "\n" + body)
    sets = (
        "--set", "Field 0=time[s]", "--set", "Field 1=bus/voltage[V]",
        "--set", "Field 2=bus/current[A]",
        "--set", "Field 3=left wing/voltage[V]", "--set", "Field 4=left wing/current[A]",
    )  # fmt: skip
    saved = tmp_path / "wren.toml"
    result = run("columns", first, *sets, "--save", saved)
    assert result.exit_code == 0
    assert result.stdout.splitlines()[-1] == f"next: busbook review {first} --map {saved}"
    kept = tomllib.loads(saved.read_text())
    assert kept["columns"]["Field 3"] == "left wing/voltage[V]"
    by_map = json.loads(run("review", second, "--map", saved, "--json").stdout)["reviews"][0]
    by_hand = json.loads(run("review", second, *sets, "--json").stdout)["reviews"][0]
    assert by_map["flights"] == by_hand["flights"]
    assert by_map["verdict"] == by_hand["verdict"]
    again = run("columns", second, "--map", saved).stdout
    assert "left wing/voltage[V]" in again
    # What is set by hand goes before the map.
    other = json.loads(
        run("review", second, "--map", saved, "--set", "Field 3=tail/voltage[V]", "--json").stdout
    )
    assert {"tail"} <= {c["place"] for c in other["reviews"][0]["columns"]}


def test_a_column_left_out_on_purpose_is_not_called_unknown(run, log) -> None:
    settings = ("--set", "Right wing I [A]=ignore")
    result = run("columns", log, *settings)
    assert "not understood" not in result.stdout
    last = result.stdout.splitlines()[-1]
    assert last == f'next: busbook review {log} --set "Right wing I [A]=ignore"'
    assert "not understood" not in run("review", log, *settings).stdout


def test_the_next_command_reads_the_log_as_this_one_did(run, log, tmp_path, log_text) -> None:
    saved = tmp_path / "wren.toml"
    assert run("columns", log, "--save", saved).exit_code == 0
    last = run("columns", log, "--map", saved).stdout.splitlines()[-1]
    assert last == f"next: busbook review {log} --map {saved}"
    timeless = tmp_path / "timeless.csv"
    lines = [line.partition(",")[2] for line in log_text.splitlines()]
    timeless.write_text("\n".join(lines) + "\n")
    last = run("columns", timeless, "--row-interval", "0.1").stdout.splitlines()[-1]
    assert last == f"next: busbook review {timeless} --row-interval 0.1"


def test_a_map_for_another_header_changes_nothing(run, log, tmp_path) -> None:
    other = tmp_path / "other.csv"
    other.write_text("t [s],A,B\n" + "".join(f"{k},1.{k % 7},2.{k % 5}\n" for k in range(50)))
    saved = tmp_path / "other.toml"
    assert run("columns", other, "--set", "A=tail/voltage[V]", "--save", saved).exit_code == 0
    plain = json.loads(run("review", log, "--json").stdout)
    mapped = json.loads(run("review", log, "--map", saved, "--json").stdout)
    assert mapped == plain


def test_maps_that_are_none(run, log, tmp_path) -> None:
    bad = tmp_path / "map.toml"
    for content in (b"", b"no toml [", b"\xff\xfe\0\0", b"fingerprint = 1\n[columns]\n",
                    b'fingerprint = "x"\ncolumns = 3\n',
                    b'fingerprint = "x"\n[columns]\n"a" = 3\n',
                    b'fingerprint = "x"\n[columns]\n"a" = "b/parsecs"\n'):  # fmt: skip
        bad.write_bytes(content)
        for command in ("review", "columns"):
            result = run(command, log, "--map", bad)
            assert (result.exit_code, result.stdout) == (2, ""), content
            assert len(result.stderr.splitlines()) == 1
    assert run("review", log, "--map", tmp_path / "none.toml").exit_code == 2


def test_a_map_that_cannot_be_written(run, log, tmp_path) -> None:
    for path in (tmp_path / "none" / "map.toml", log / "map.toml"):
        result = run("columns", log, "--save", path)
        assert result.exit_code == 2
        assert str(path) in result.stderr
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["evening.csv", "logs"]


def test_headers_cannot_write_on_the_screen(run, tmp_path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(
        "t [s],Bus U [V],\x1b[2J\x1b]0;owned\x07 evil\n"
        + "".join(f"{k},6.{k % 3},{k % 9}\n" for k in range(50))
    )
    for result in (run("columns", path), run("review", path)):
        assert result.exit_code == 0
        assert not any(c in result.output for c in "\x1b\x07")


# Words of no language, with none in common.
NOBODYS = {"Left wing U": "Zolt jänno", "Left wing I": "Brem tirra"}


def _relabelled(path: Path, text: str, names: dict[str, str]) -> Path:
    for old, new in names.items():
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return path


def test_a_node_that_lost_its_current_is_not_clear_until_it_is_named(
    run, tmp_path, log, log_text
) -> None:
    def review(path: Path, *options: str) -> dict[str, Any]:
        return json.loads(run("review", path, "--json", *options).stdout)["reviews"][0]

    known = review(log)
    path = _relabelled(tmp_path / "zolt.csv", log_text, NOBODYS)
    found = review(path)
    assert (known["verdict"], found["verdict"]) == ("clear", "unknown")
    (thin,) = found["findings"]
    assert thin["code"] == "log-too-thin"
    for title in ("'Brem tirra [A]'", "'Zolt jänno [V]'"):
        assert title in thin["title"]
    listed = run("columns", path).stdout
    assert "settled" not in listed
    assert "settled" in run("columns", log).stdout
    # What is printed works when it is pasted, in the listing and in the finding.
    (line,) = [x.strip() for x in listed.splitlines() if x.strip().startswith("--set")]
    assert line in thin["confirm"]
    options = shlex.split(line)
    named = review(path, *options)
    assert named["verdict"] == "clear"
    assert "settled" in run("columns", path, *options).stdout
    drops = [
        [r["mohm"] for r in x["flights"][0]["resistances"] if r["kind"] == "branch"]
        for x in (known, named)
    ]
    assert drops[0] == drops[1] != []
    # So does saying that it belongs elsewhere; another current may be that of the voltage then.
    apart = ("--set", "Brem tirra [A]=pump/current[A]")
    (thin,) = review(path, *apart)["findings"]
    assert "'Right wing I [A]'" in thin["title"]
    options = shlex.split(thin["confirm"].partition("add ")[2].partition(" to the command")[0])
    assert options == ["--set", "Zolt jänno [V]=right wing/voltage[V]"]
    assert review(path, *apart, "--set", "Zolt jänno [V]=tank/voltage[V]")["verdict"] == "clear"


@pytest.mark.parametrize(
    "names",
    [
        # A code: voltage and current of one place.
        {"Left wing U": "WL voltage", "Left wing I": "WL current", "Right wing I": "WR current"},
        {"Left wing U [V]": "Alt [m]"},  # currents alone
        {"Left wing I [A]": "Alt [m]", "Right wing I [A]": "Speed [m/s]"},  # voltages alone
        {"Left wing I [A]": "Servo 3 current [A]"},  # a current of a known place
    ],
)
def test_logs_that_say_all_they_hold_stay_clear(run, tmp_path, log_text, names) -> None:
    path = _relabelled(tmp_path / "log.csv", log_text, names)
    assert json.loads(run("review", path, "--json").stdout)["reviews"][0]["verdict"] == "clear"
    assert "settled" in run("columns", path).stdout


def test_a_supply_that_was_not_understood_is_not_clear(run, tmp_path, log_text) -> None:
    path = _relabelled(tmp_path / "log.csv", log_text, {"Left wing I [A]": "A7 virta"})
    found = json.loads(run("review", path, "--json").stdout)["reviews"][0]
    assert found["verdict"] == "unknown"
    (thin,) = found["findings"]
    assert "'A7 virta'" in thin["title"]
    assert "settled" not in run("columns", path).stdout
    start = thin["confirm"].index("--set")
    options = shlex.split(thin["confirm"][start:].removesuffix(" to the command."))
    again = json.loads(run("review", path, "--json", *options).stdout)["reviews"][0]
    assert "A7" not in json.dumps(again["findings"])


def test_what_a_column_holds_is_said_where_it_is_no_number(run, tmp_path, log_text) -> None:
    """Words, several readings that are open, or nothing that a name would tell."""
    head, *rows = log_text.splitlines()
    path = tmp_path / "words.csv"
    lines = [
        f"{row},{('up', 'level', 'down')[k % 3]},{k % 7},{k % 60}" for k, row in enumerate(rows)
    ]
    path.write_text("\n".join([f"{head},Zumpf,Rumpl,Tail current", *lines]) + "\n")
    said = [x.lstrip(" ?-0123456789") for x in run("columns", path).stdout.splitlines()]
    (words,) = [x for x in said if x.startswith("Zumpf ")]
    assert words.split() == ["Zumpf", "words"]
    assert "Rumpl" in said
    (still_open,) = [x for x in said if x.startswith("Tail current")]
    assert still_open.endswith("several readings")
