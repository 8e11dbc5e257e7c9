"""``busbook aircraft``: new, check, show, set; every wrong profile is told in one sentence."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from telemetry.aircraft.profile import read_profile

SAMPLE = Path(__file__).parents[2] / "sample_logs" / "tern-flight-01.csv"

# An invented aircraft, sound as it stands; the cases below break one thing each.
SOUND = """\
name = "curlew"
bus = "bus"
[[packs]]
name = "pack 1"
[[supplies]]
name = "switch"
kind = "switch"
fed_from = ["pack 1"]
[[nodes]]
name = "left wing"
fed_from = "bus"
mirror = "right wing"
lead = { mm2 = 1.5, length_m = 1.2 }
[[nodes]]
name = "right wing"
fed_from = "bus"
[[servos]]
node = "left wing"
output = 1
drives = "left aileron"
until = 2026-05-14
[[servos]]
node = "left wing"
output = 1
drives = "rudder"
since = 2026-05-14
"""

# What is put instead of what, the line, the key, and words that have to be in the sentence.
BROKEN = {
    "unknown key": ('mirror = "right wing"', 'miror = "right wing"', 12, "miror", "mirror"),
    "two roots": ('name = "right wing"\nfed_from = "bus"',
                  'name = "right wing"\nfed_from = "pack 1"', 16, "fed_from", "two roots"),
    "loop": ('name = "right wing"\nfed_from = "bus"',
             'name = "right wing"\nfed_from = "tail"\n[[nodes]]\nname = "tail"\n'
             'fed_from = "right wing"', 16, "fed_from", "loop"),
    "no feed": ('name = "right wing"\nfed_from = "bus"', 'name = "right wing"', 15, "name",
                "nothing feeds"),
    "mirror to nowhere": ('mirror = "right wing"', 'mirror = "right fin"', 12, "mirror",
                          "no other node"),
    "negative length": ("length_m = 1.2", "length_m = -1.2", 13, "length_m", "above 0"),
    "impossible gauge": ("mm2 = 1.5", "awg = 99", 13, "awg", "at most 40"),
    "two servos on one output": ("since = 2026-05-14", "since = 2026-05-01", 24, "output",
                                 "at the same date"),
    "no TOML": ('name = "curlew"', 'name = "curlew', 1, None, "not valid TOML"),
}  # fmt: skip


@pytest.fixture
def profile(tmp_path: Path) -> Path:
    path = tmp_path / "curlew.toml"
    path.write_text(SOUND)
    return path


def test_a_sound_profile_is_no_leave_to_fly(run, profile: Path) -> None:
    result = run("aircraft", "check", profile)
    assert (result.exit_code, result.stderr) == (0, "")
    assert "nothing wrong found" in result.stdout
    assert "1 pack, 1 supply, 2 nodes, 2 servo outputs" in result.stdout
    assert f"busbook aircraft show {profile}" in result.stdout


@pytest.mark.parametrize("case", BROKEN.values(), ids=BROKEN)
def test_each_error_is_one_sentence_with_file_line_and_key(run, profile: Path, case) -> None:
    old, new, line, key, words = case
    assert old in SOUND
    profile.write_text(SOUND.replace(old, new))
    result = run("aircraft", "check", profile)
    assert (result.exit_code, result.stdout) == (2, "")
    (told,) = result.stderr.splitlines()
    assert told.startswith(f"{profile} line {line}")
    if key is not None:
        assert told.split("'")[1].endswith(key)
    assert words in told
    assert told.endswith(".")
    # The same sentence wherever the profile is used.
    for command in (("budget", profile), ("aircraft", "show", profile),
                    ("review", SAMPLE, "--aircraft", profile)):  # fmt: skip
        other = run(*command)
        assert (other.exit_code, other.stdout) == (2, ""), command
        assert told in other.stderr.splitlines()


def test_all_errors_are_told_at_once_in_the_order_of_their_lines(run, profile: Path) -> None:
    text = SOUND.replace("mm2 = 1.5", "awg = 99").replace('kind = "switch"', 'kind = "knob"')
    profile.write_text(text.replace("output = 1", "output = -1", 1))
    result = run("aircraft", "check", profile)
    assert result.exit_code == 2
    lines = [int(x.split(" line ")[1].split()[0]) for x in result.stderr.splitlines()]
    assert lines == [7, 13, 19]


def test_new_takes_the_places_of_a_log_and_goes_into_the_book(run, tmp_path: Path) -> None:
    book = tmp_path / "book"
    result = run("aircraft", "new", "Tern", "--from", SAMPLE, "--book", book)
    path = book / "aircraft" / "tern.toml"
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.splitlines()[0] == f"wrote {path}"
    craft = read_profile(path)
    assert craft.name == "Tern"
    assert [n.name for n in craft.nodes] == ["left wing", "right wing", "tail"]
    # Known by name from now on: for checking, for showing, for a review.
    for command in (("aircraft", "check", "TERN"), ("aircraft", "show", "tern"),
                    ("review", SAMPLE, "--aircraft", "tern")):  # fmt: skip
        assert run(*command, "--book", book).exit_code == 0, command


def test_new_never_writes_over_a_profile(run, tmp_path: Path) -> None:
    path = tmp_path / "tern.toml"
    path.write_text("# mine\n")
    result = run("aircraft", "new", "tern", "--out", path)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "--force" in result.stderr
    assert path.read_text() == "# mine\n"
    assert run("aircraft", "new", "tern", "--out", path, "--force").exit_code == 0
    assert read_profile(path).name == "tern"
    book = tmp_path / "book"
    assert run("aircraft", "new", "tern", "--book", book).exit_code == 0
    assert run("aircraft", "new", "tern", "--book", book).exit_code == 2


def test_show_fits_the_screen_and_knows_dates(run, profile: Path) -> None:
    whole = run("aircraft", "show", profile).stdout
    assert max(map(len, whole.splitlines()[:-1])) <= 80
    assert "until 2026-05-14" in whole
    assert "since 2026-05-14" in whole
    before = run("aircraft", "show", profile, "--on", "2026-05-13").stdout
    assert ("left aileron" in before, "rudder" in before) == (True, False)
    after = run("aircraft", "show", profile, "--on", "2026-05-14").stdout
    assert ("left aileron" in after, "rudder" in after) == (False, True)
    wrong = run("aircraft", "show", profile, "--on", "May")
    assert (wrong.exit_code, wrong.stdout) == (2, "")
    assert "as in 2026-05-14" in wrong.stderr


def test_names_that_nobody_knows(run, tmp_path: Path) -> None:
    book = tmp_path / "book"
    for words in (("aircraft", "check", "nix"), ("budget", "nix")):
        result = run(*words, "--book", book)
        assert (result.exit_code, result.stdout) == (2, "")
        assert "nix" in result.stderr
        assert not book.exists(), "a command that only reads makes no book"
    missing = run("aircraft", "check", tmp_path / "nix.toml")
    assert (missing.exit_code, missing.stdout) == (2, "")
    assert "cannot be read" in missing.stderr


@pytest.mark.parametrize(("change", "ohm"), [("2026-04-05", 2.0), ("2026-04-04", 0.7)])
def test_a_log_is_read_with_the_outputs_of_its_day(run, tmp_path: Path, change: str, ohm: float):
    """Flown on 4 April 2026. All stalled, the servo of that day takes 3.15 A or 9 A at 6.3 V."""
    path = tmp_path / "tern.toml"
    assert run("aircraft", "new", "tern", "--from", SAMPLE, "--out", path).exit_code == 0
    text = path.read_text()
    for when, amps in (("until", 3.15), ("since", 9.0)):
        text += f'[[servos]]\nnode = "tail"\noutput = 1\ndrives = "rudder"\n{when} = {change}\n'
        text += f"stall_a = {amps}\nstall_v = 6.3\n"
    path.write_text(text)
    shown = run("review", SAMPLE, "--aircraft", path, "--json")
    assert shown.exit_code == 0
    (review,) = json.loads(shown.stdout)["reviews"]
    assert review["aircraft"] == {"name": "tern", "inferred": False}
    tail = next(m for m in review["flights"][0]["margins"] if m["place"] == "tail")
    stalled = next(c for c in tail["cases"] if c["case"] == "all-stalled")
    assert stalled["voltage_v"] / stalled["current_a"] == pytest.approx(ohm, rel=1e-6)


def set_key(run, *words: object):
    return run("aircraft", "set", *words)


def test_set_changes_one_key_of_a_file_and_says_what(run, profile: Path) -> None:
    result = set_key(run, profile, "PACK 1", "--capacity", "3200", "--role=standby")
    assert (result.exit_code, result.stderr) == (0, "")
    assert "pack 1" in result.stdout.lower()
    assert "capacity 3200, role standby" in result.stdout
    added = 'name = "pack 1"\ncapacity_mah = 3200\nrole = "standby"\n'
    assert profile.read_text() == SOUND.replace('name = "pack 1"\n', added)
    assert run("aircraft", "check", profile).exit_code == 0


@pytest.mark.parametrize(
    "words",
    [
        ("pack 9", "--cells", "2"),
        ("pack 1", "--cels", "2"),
        ("pack 1", "--cells", "-2"),
        ("pack 1", "--capacity", "MAH"),  # as the report prints it
        ("pack 1", "--cells"),
        ("pack 1",),
        ("--cells", "2"),
        (),
    ],
    ids=str,
)
def test_what_cannot_be_set_is_one_sentence_and_changes_nothing(run, profile: Path, words) -> None:
    result = set_key(run, profile, *words)
    assert (result.exit_code, result.stdout) == (2, "")
    (told,) = result.stderr.splitlines()
    assert told.endswith(".")
    assert profile.read_text() == SOUND
    assert sorted(p.name for p in profile.parent.iterdir()) == [profile.name]


def test_set_needs_a_profile_or_an_aircraft(run, tmp_path: Path) -> None:
    missing = set_key(run, tmp_path / "no.toml", "pack 1", "--cells", "2")
    assert (missing.exit_code, missing.stdout) == (2, "")
    assert "aircraft new" in missing.stderr
    assert not list(tmp_path.iterdir())
    run("add", SAMPLE, "--aircraft", "tern", "--book", tmp_path / "book")
    unknown = set_key(run, "gull", "pack 1", "--cells", "2", "--book", tmp_path / "book")
    assert unknown.exit_code == 2
    assert "no aircraft 'gull'" in unknown.stderr


def test_the_line_that_a_report_says_makes_the_number_known(run, tmp_path: Path) -> None:
    book = tmp_path / "book"
    run("add", SAMPLE, "--aircraft", "tern", "--book", book)
    before = run("review", SAMPLE, "--aircraft", "tern", "--book", book).stdout
    assert re.search(r"More flights like this +not measured", before)
    (line,) = [x.strip() for x in before.splitlines() if "busbook aircraft set" in x]
    assert line == (
        'busbook aircraft set tern "pack 1" "pack 2" --chemistry CHEMISTRY --cells N --capacity MAH'
    )
    wanted = ("pack 1", "pack 2", "--chemistry", "liion", "--cells", "2", "--capacity", "3200")
    assert set_key(run, "tern", *wanted, "--book", book).exit_code == 0
    after = run("review", SAMPLE, "--aircraft", "tern", "--book", book).stdout
    assert re.search(r"More flights like this +\d", after)
    assert "busbook aircraft set" not in after
    # A profile that went is begun again from the newest flight.
    (book / "aircraft" / "tern.toml").unlink()
    assert set_key(run, "tern", *wanted, "--book", book).exit_code == 0
    assert read_profile(book / "aircraft" / "tern.toml").packs[1].capacity_mah == 3200


def test_a_log_of_nobody_is_asked_to_be_added_first(run, log: Path) -> None:
    text = run("review", SAMPLE).stdout
    (line,) = [x.strip() for x in text.splitlines() if "busbook aircraft set" in x]
    assert line.startswith('busbook aircraft set NAME "pack 1"')
    profile = log.parent / "own.toml"
    profile.write_text('name = "own"\n')
    text = run("review", SAMPLE, "--aircraft", profile).stdout
    assert f"busbook aircraft set {profile}" in text


def test_two_that_set_at_once_both_succeed(tmp_path: Path) -> None:
    path = tmp_path / "curlew.toml"
    path.write_text(SOUND)
    script = (
        "import sys; from pathlib import Path\n"
        "from telemetry.book.profiles import set_in_file\n"
        "for k in range(1, 41):\n"
        "    set_in_file(Path(sys.argv[1]), [sys.argv[2]], {sys.argv[3]: str(k)})\n"
    )
    root = str(Path(__file__).parents[2])
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", script, str(path), place, key],
            env={**os.environ, "PYTHONPATH": root},
        )
        for place, key in (("pack 1", "capacity"), ("left wing", "servos"))
    ]
    assert [one.wait(timeout=120) for one in runs] == [0, 0]
    craft = read_profile(path)
    assert (craft.packs[0].capacity_mah, craft.nodes[0].servos) == (40, 40)
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_every_key_of_the_help_is_one(run, tmp_path: Path) -> None:
    from telemetry.aircraft import Aircraft, Node, Pack
    from telemetry.aircraft.profile.options import table_of

    shown = run("aircraft", "set", "--help").stdout
    data = {
        "bus": "bus",
        "packs": [{"name": "a pack"}],
        "nodes": [{"name": "a node"}],
        "supplies": [{"name": "a supply"}],
    }
    seen = Aircraft(packs=(Pack(name="a pack"),), nodes=(Node(name="a node", fed_from="bus"),))
    places = {"its lead": "a pack", "its servos": "a node", "the bus": "bus"}
    lines = re.findall(r"^ +(a pack|its lead|a node|its servos|a supply|the bus|limits) +(.*)$",
                       shown, flags=re.MULTILINE)  # fmt: skip
    assert len(lines) == 7
    for name, text in lines:
        options = {"output": "1"} if name == "its servos" else {}
        known = table_of(data, places.get(name, name), options, seen).options()
        for option in re.findall(r"--([a-z0-9-]+)", text):
            assert option in known, (name, option)
