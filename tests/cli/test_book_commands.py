"""The logbook's commands: add, flights, note, check-book, export, history; reviews beside it."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from itertools import takewhile
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner, Result

from telemetry.book import Logbook
from telemetry.cli import main
from telemetry.importer import read_log
from telemetry.report.writers.screen import columns_of
from telemetry.simulate.demo import demo_logs, demo_readme, tern_season
from telemetry.simulate.physics.motion import move
from telemetry.simulate.pilot import usual_plan
from telemetry.simulate.recording import simulate
from telemetry.simulate.telemetry.csvfile import write_csv


def call(*arguments: object, code: int = 0, env: dict[str, str] | None = None) -> Result:
    """Run a command in this process and look at what it exits with."""
    try:
        runner = CliRunner(mix_stderr=False)  # type: ignore[call-arg]  # click before 8.2
    except TypeError:
        runner = CliRunner()
    result = runner.invoke(main, [str(a) for a in arguments], env=env)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == code, result.stderr
    return result


def strict(text: str) -> Any:
    def refuse(name: str) -> Any:
        raise AssertionError(f"{name} is no JSON")

    return json.loads(text, parse_constant=refuse)


def tree(root: Path) -> dict[str, tuple[int, bytes]]:
    """Every file below a folder, with its time and content."""
    files = (p for p in sorted(root.rglob("*")) if p.is_file())
    return {str(p.relative_to(root)): (p.stat().st_mtime_ns, p.read_bytes()) for p in files}


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's tern on a memory card: a bench recording and twelve flights, in folders."""
    card = tmp_path_factory.mktemp("card")
    logs = takewhile(lambda log: log[0].startswith("tern"), demo_logs())
    for name, recording, dialect in logs:
        day = card / recording.start.strftime("%m-%d") if recording.start else card
        day.mkdir(exist_ok=True)
        write_csv(day / name, recording, dialect=dialect)
    (card / "README.txt").write_text(demo_readme(), encoding="utf-8")
    (card / "photo.png").write_bytes(b"\x89PNG")
    return card


@pytest.fixture(scope="session")
def added(season: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    """The book of that season, and what adding it said."""
    book = tmp_path_factory.mktemp("shelf") / "book"
    return book, call("add", season, "--aircraft", "tern", "--book", book)


@pytest.fixture
def book(added: tuple[Path, Result], tmp_path: Path) -> Path:
    """A copy of the season's book to do with as a test likes."""
    return Path(shutil.copytree(added[0], tmp_path / "book"))


@pytest.fixture(scope="session")
def judged(added: tuple[Path, Result]) -> Any:
    """The season's history as JSON."""
    return strict(call("history", "tern", "--book", added[0], "--json").stdout)


def test_the_history_of_the_demo_keeps_the_contract(judged: Any, contract_breaches) -> None:
    assert judged["findings"]
    assert contract_breaches(judged) == []


# A whole card.


def test_a_card_is_added_with_progress_and_a_count(added: tuple[Path, Result]) -> None:
    _, result = added
    assert result.stdout.splitlines() == [
        "tern: 12 flights and 1 bench recording added from 13 logs; the book holds 12 flights "
        "and 1 bench recording",
        f"The book lies in {added[0]}",
        f"next: busbook history tern --book {added[0]}",
    ]
    told = result.stderr.splitlines()
    assert len(told) == 14
    assert sum("added to tern" in line for line in told) == 13
    assert [line for line in told if line.endswith("README.txt: no log, passed by")]
    assert told[-1].startswith("14/14 ")


def test_adding_the_same_card_again_changes_nothing(book: Path, season: Path) -> None:
    before = tree(book)
    result = call("add", season, "--aircraft", "tern", "--book", book)
    assert "13 logs known already, nothing changed" in result.stdout
    assert "added" not in result.stdout
    assert tree(book) == before


def test_a_log_without_aircraft_goes_where_its_columns_are_known(
    book: Path, season: Path, tmp_path: Path
) -> None:
    (first,) = season.rglob("tern-flight-01.csv")
    log = tmp_path / "evening.csv"
    log.write_text(first.read_text(encoding="utf-8-sig")[:-200], encoding="utf-8")
    result = call("add", log, "--book", book)
    assert (
        "tern: 1 flight added from 1 log; the book holds 13 flights and 1 bench recording"
        in result.stdout
    )
    assert "added to tern (its header names 'tern')" in result.stderr


def test_a_log_of_nobody_is_asked_about_and_the_others_are_added(
    book: Path, season: Path, log: Path, tmp_path: Path
) -> None:
    (first,) = season.rglob("tern-flight-01.csv")
    other = tmp_path / "other.csv"
    other.write_text(first.read_text(encoding="utf-8-sig")[:-300], encoding="utf-8")
    broken = tmp_path / "broken.csv"
    broken.write_bytes(b"PK\x03\x04 a zip")
    result = call("add", log, broken, other, "--book", book, code=2)
    assert "tern: 1 flight added from 1 log" in result.stdout
    assert "1 log not added: does not tell whose; no aircraft of the book has these columns:" in (
        result.stderr
    )
    assert str(broken) in result.stderr
    assert "2 logs not added" not in result.stderr, "each kind is told with its own reason"
    assert "busbook add LOG... --aircraft NAME (tern, or a new name)." in result.stderr
    assert len(Logbook(book).flights("tern")) == 14


def test_a_folder_without_logs_is_said_so(tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    result = call("add", empty, "--aircraft", "tern", "--book", tmp_path / "book", code=2)
    assert result.stdout == "no log found\n"


@pytest.mark.parametrize(
    "options",
    [
        ("--aircraft", "con"),
        ("--aircraft", "tern", "--on", "yesterday"),
        ("--aircraft", "tern", "--set", "nonsense"),
        ("--aircraft", "tern", "--workers", "0"),
    ],
)
def test_options_that_cannot_be_are_refused_before_any_work(
    log: Path, tmp_path: Path, options: tuple[str, ...]
) -> None:
    result = call("add", log, *options, "--book", tmp_path / "book", code=2)
    assert result.stdout == ""
    assert result.stderr
    assert not list((tmp_path / "book").glob("flights/*"))


# What a log is, and when.


@pytest.fixture(scope="session")
def two_flights(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One recording of two flights of the demo's tern, with a landing between them."""
    demo = tern_season()
    rng = np.random.default_rng(20261)
    plan = usual_plan(rng, demo.pilot, flights=2, flight_s=180.0)
    motion = move(plan, demo.pilot, demo.pilot.day(rng), rng, dt_s=demo.dt_s)
    recording = simulate(demo.aircraft, demo.telemetry, motion, rng, start=demo.start)
    path = tmp_path_factory.mktemp("two") / "tern-two.csv"
    return write_csv(path, recording, dialect=demo.dialect)


def test_a_file_of_two_flights_becomes_two(two_flights: Path, tmp_path: Path) -> None:
    book = tmp_path / "book"
    result = call("add", two_flights, "--aircraft", "tern", "--book", book)
    assert "tern: 2 flights added from 1 log; the book holds 2 flights" in result.stdout
    one, two = Logbook(book).flights("tern")
    assert (one.kind, two.kind) == ("flight", "flight")
    assert one.recording == two.recording
    assert str(one.start) < str(two.start)
    assert one.rows + two.rows == len(read_log(two_flights).frame), "no row is lost"


def test_a_date_is_given_for_logs_without_one(log: Path, tmp_path: Path) -> None:
    book = tmp_path / "book"
    call("add", log, "--aircraft", "wren", "--on", "2026-05-14", "--book", book)
    (flight,) = Logbook(book).flights("wren")
    assert (flight.start, flight.start_source) == ("2026-05-14", "given")
    shown = call("flights", "wren", "--book", book).stdout
    assert "2026-05-14" in shown
    assert "1 as given" in shown


def test_settings_are_kept_for_the_next_log_of_that_header(
    tmp_path: Path, log_text: str, faulty_text: str
) -> None:
    book = tmp_path / "book"
    for name, text in (("one", log_text), ("two", faulty_text)):
        path = tmp_path / f"{name}.csv"
        path.write_text(text.replace("Left wing I [A]", "Field 7"))
    told = ("--set", "Field 7=left wing/current[A]")
    call("add", tmp_path / "one.csv", "--aircraft", "wren", *told, "--book", book)
    call("add", tmp_path / "two.csv", "--book", book)
    for flight in Logbook(book).flights("wren"):
        assert "left wing/current" in Logbook(book).read(flight.id).frame.columns


def test_workers_make_the_same_book(tmp_path: Path, log_text: str, faulty_text: str) -> None:
    card = tmp_path / "card"
    card.mkdir()
    for name, text in (("a", log_text), ("b", faulty_text)):
        (card / f"{name}.csv").write_text(text)
    for name, options in (("alone", ()), ("two", ("--workers", "2"))):
        call("add", card, "--aircraft", "wren", *options, "--book", tmp_path / name)
    alone, two = (
        {k: v for k, (_, v) in tree(tmp_path / n).items() if not k.startswith("entries/")}
        for n in ("alone", "two")
    )
    assert alone.keys() == two.keys()
    same = [k for k in alone if not k.startswith(("originals/", "flights/"))]
    assert {k: alone[k] for k in same} == {k: two[k] for k in same}
    assert any(k.startswith("measures/") for k in same)


def test_joined_parts_are_one_flight_and_are_read_again_in_their_parts(
    tmp_path: Path, log_text: str
) -> None:
    lines = log_text.splitlines()
    first, second = tmp_path / "a.csv", tmp_path / "b.csv"
    first.write_text("\n".join(lines[:301]) + "\n")
    second.write_text("\n".join([lines[0], *lines[301:]]) + "\n")
    book = tmp_path / "book"
    result = call("add", first, second, "--join", "--aircraft", "wren", "--book", book)
    assert "wren: 1 bench recording added from 1 log" in result.stdout
    (flight,) = Logbook(book).flights("wren")
    assert flight.rows == len(lines) - 1
    assert Logbook(book).original(flight.recording) == first.read_bytes() + second.read_bytes()
    again = call("add", first, second, "--join", "--aircraft", "wren", "--book", book)
    assert "1 log known already" in again.stdout
    # What is derived is made again from the original, in its parts.
    before = Logbook(book).read(flight.id)
    (parquet,) = book.rglob("*.parquet")
    parquet.unlink()
    assert "made again" in call("check-book", "--book", book).stdout
    pd.testing.assert_frame_equal(Logbook(book).read(flight.id).frame, before.frame)


def test_a_part_that_the_book_has_is_not_joined_as_well(tmp_path: Path, log_text: str) -> None:
    lines = log_text.splitlines()
    first, second = tmp_path / "a.csv", tmp_path / "b.csv"
    first.write_text("\n".join(lines[:301]) + "\n")
    second.write_text("\n".join([lines[0], *lines[301:]]) + "\n")
    book = tmp_path / "book"
    call("add", first, "--aircraft", "wren", "--book", book)
    result = call("add", first, second, "--join", "--aircraft", "wren", "--book", book, code=2)
    assert "would count twice" in result.stderr
    assert len(Logbook(book).flights("wren")) == 1


# Looking into it.


def test_flights_are_a_table_of_eighty_columns(added: tuple[Path, Result]) -> None:
    shown = call("flights", "tern", "--book", added[0]).stdout.splitlines()
    assert max(map(columns_of, shown[:-1])) <= 80
    assert re.fullmatch(
        r"  1  2026-03-28 15:20  bench    01:34  [0-9a-f]{16}-0  tern-bench-stir.csv", shown[2]
    )
    assert sum("  flight  " in x for x in shown[2:]) == 12
    assert "12 flights and 1 bench recording. Ordered by date: 13 dated by the log." in shown


def test_without_a_name_the_aircraft_are_listed(added: tuple[Path, Result]) -> None:
    shown = call("flights", "--book", added[0]).stdout
    head, _, row, *why = shown.splitlines()
    assert head.split() == ["Answer", "Aircraft", "Flights", "Bench", "Notes", "Newest", "Since"]
    assert row.split()[:7] == ["!!!", "ground", "tern", "12", "1", "0", "2026-04-25"]
    answer = strict(call("history", "tern", "--json", "--book", added[0]).stdout)["answer"]
    assert row.split()[-1] == str(answer["since_number"])
    assert answer["title"][1:40] in " ".join(why)
    assert max(len(x) for x in shown.splitlines() if str(added[0]) not in x) <= 80


def test_the_fleet_stands_the_worst_first(tmp_path: Path) -> None:
    from telemetry.report.documents.flights import FleetEntry, render_fleet
    from telemetry.results import AircraftStanding, Answer, Level

    def entry(name: str, level: Level | None, **more: Any) -> FleetEntry:
        answer = level and Answer(level=level, title=f"of {name}", source="history", since_number=3)
        held = AircraftStanding(answer=answer, flights=3, benches=1, notes=2, newest="2026-05-14")
        return FleetEntry(name=name, standing=held, **more)

    shown = render_fleet(
        [
            entry("swift", Level.CLEAR),
            entry("tern", Level.WATCH),
            entry("gull", None),
            entry("wren", Level.GROUND),
            entry("x" * 60, Level.WATCH, why="damaged"),
        ]
    ).splitlines()
    assert max(map(len, shown)) <= 80
    rows = [line for line in shown[2:] if not line.startswith("    ")]
    order = [next(n for n in ("wren", "tern", "xxx", "swift", "gull") if n in r) for r in rows]
    assert order == ["wren", "tern", "xxx", "gull", "swift"]
    assert "    No flights yet." in shown
    assert all("      3      1      2  2026-05-14" in row for row in rows)
    assert render_fleet([]) == "the book holds no aircraft yet\n"


@pytest.mark.parametrize(
    "words", [("flights",), ("flights", "tern"), ("history", "tern"), ("check-book",)]
)
def test_looking_makes_no_book(tmp_path: Path, words: tuple[str, ...]) -> None:
    result = call(*words, "--book", tmp_path / "none", code=2)
    assert "there is no logbook here" in result.stderr
    assert "busbook add" in result.stderr
    assert not (tmp_path / "none").exists()


def test_the_book_may_be_named_by_the_environment(added: tuple[Path, Result]) -> None:
    shown = call("flights", env={"BUSBOOK": str(added[0])}).stdout
    assert shown.endswith("next: busbook flights tern\n"), "it need not be named again"


@pytest.mark.parametrize("words", [("flights", "gull"), ("history", "gull")])
def test_an_unknown_aircraft_is_told_who_is_known(
    added: tuple[Path, Result], words: tuple[str, ...]
) -> None:
    result = call(*words, "--book", added[0], code=2)
    assert "the book has no aircraft 'gull'; it knows tern" in result.stderr


def test_a_note_stands_among_the_flights(book: Path) -> None:
    words = "right aileron servo replaced, and the linkage of the inner one set free again"
    said = call(
        *("note", "Tern", words, "--kind", "repaired", "--place", "Right  Wing"),
        *("--on", "2026-04-19", "--book", book),
    )
    assert "noted for tern, 2026-04-19: repaired, right wing" in said.stdout
    assert "the baseline of right wing begins anew" in said.stdout
    assert said.stderr == ""
    shown = call("flights", "tern", "--book", book).stdout
    lines = shown.splitlines()
    assert max(map(columns_of, lines[:-1])) <= 80
    (at,) = [k for k, x in enumerate(lines) if "2026-04-19" in x]
    assert "2026-04-18" in lines[at - 1]
    assert "2026-04-25" in lines[at + 2], "the note takes two lines"
    assert words in " ".join(shown.split())


@pytest.mark.parametrize(
    ("options", "why"),
    [
        (("--place", "rigth wing"), "'tern' has no place 'rigth wing'; it has right wing"),
        (("--place", "nose"), "'tern' has no place 'nose'; it has"),
        (("--place", "all of it"), "'tern' has no place 'all of it'"),
        (("--place", "right wing", "--on", "2999-01-01"), "2999-01-01 is later than today"),
    ],
)
def test_a_place_it_has_not_and_a_day_to_come_are_refused(
    book: Path, options: tuple[str, ...], why: str
) -> None:
    said = call("note", "tern", "x", "--kind", "repaired", *options, "--book", book, code=2)
    assert why in " ".join(said.stderr.split())
    assert len(said.stderr.splitlines()) == 1
    assert said.stdout == ""
    assert not list(book.glob("notes/*/*"))


def test_without_a_place_nothing_is_closed(book: Path, judged: Any) -> None:
    said = call("note", "tern", "all done", "--kind", "repaired", "--book", book)
    assert "it names no place and closes nothing" in said.stdout
    assert "begins anew" not in said.stdout
    after = strict(call("history", "tern", "--book", book, "--json").stdout)
    assert after["findings"] == judged["findings"]
    said = call(*("note", "tern", "rebuilt", "--kind", "changed", "--place", "all", "--book", book))
    assert "the baseline of every place begins anew" in said.stdout
    after = strict(call("history", "tern", "--book", book, "--json").stdout)
    # No flight since tells anything yet.
    assert {f["state"] for f in after["findings"]} == {"closed"}
    assert {f["closed_by"]["text"] for f in after["findings"] if f["level"] == "ground"} == {
        "rebuilt"
    }
    assert after["verdict"] == "unknown"


def test_what_the_last_flights_say_is_in_the_history(judged: Any) -> None:
    """The lead that lets go: the last flights' own reviews tell it, as gravely as they did."""
    last = judged["flights"][-3:]
    assert [("sag-unexplained" in f["codes"]) for f in last] == [True] * 3
    (told,) = [f for f in judged["findings"] if f["code"] == "sag-unexplained"]
    assert (told["place"], told["since_flight"]) == ("left wing", last[0]["id"])
    assert told["level"] == "ground"
    assert "ground" in {f["verdict"] for f in last}


def test_a_servo_of_a_place_is_a_place(book: Path) -> None:
    said = call("note", "tern", "x", "--kind", "repaired", "--place", "tail 2", "--book", book)
    assert said.stderr == ""
    assert "the baseline of tail 2 begins anew" in said.stdout


@pytest.mark.parametrize(
    "words",
    [
        ("gull", "x", "--kind", "checked"),
        ("tern", "x", "--kind", "polished"),
        ("tern", "x"),
        ("tern", "x", "--kind", "checked", "--on", "soon"),
    ],
)
def test_notes_that_cannot_be(book: Path, words: tuple[str, ...]) -> None:
    result = call("note", *words, "--book", book, code=2)
    assert (result.stdout, bool(result.stderr)) == ("", True)
    assert not list(book.glob("notes/*/*"))


def test_a_sound_book_is_called_sound_and_a_damaged_one_not(book: Path) -> None:
    said = call("check-book", "--book", book)
    assert said.stdout.splitlines() == [
        "13 recordings with 13 flights checked",
        "everything is as it was stored",
    ]
    next(book.glob("flights/*/*.parquet")).unlink()
    again = call("check-book", "--book", book)
    assert "made again:" in again.stdout
    victim = next(book.glob("originals/*.zst"))
    victim.write_bytes(victim.read_bytes()[:-20] + b"x" * 20)
    bad = call("check-book", "--book", book, code=2)
    assert "not what was stored" in bad.stderr
    assert "1 problems" in bad.stdout or "1 problem" in bad.stdout


def test_flights_are_handed_on_as_parquet_and_csv(added: tuple[Path, Result], tmp_path) -> None:
    whole, one = tmp_path / "tern.parquet", tmp_path / "one.csv"
    call("export", "tern", "--to", whole, "--book", added[0])
    frame = pd.read_parquet(whole)
    assert frame["flight"].nunique() == 13
    flight = Logbook(added[0]).flights("tern")[3]
    call("export", flight.id, "--to", one, "--book", added[0])
    assert len(pd.read_csv(one)) == flight.rows == (frame["flight"] == flight.id).sum()
    bad = call("export", "gull", "--to", one, "--book", added[0], code=2)
    assert "no flight 'gull'" in bad.stderr


def test_a_log_is_cleaned_without_a_book(log: Path, tmp_path: Path) -> None:
    clean = tmp_path / "clean.csv"
    call("export", log, "--to", clean, "--book", tmp_path / "none")
    table = pd.read_csv(clean)
    assert list(table.columns)[:4] == ["flight", "date", "aircraft", "file"]
    assert list(table.columns)[4:6] == ["time [s]", "bus/voltage [V]"]
    assert set(table["file"]) == {log.name}
    assert not (tmp_path / "none").exists()
    before = log.read_bytes()
    assert "is the log itself" in call("export", log, "--to", log, code=2).stderr
    assert log.read_bytes() == before


# What it tells across flights.


def test_the_season_is_judged_the_servo_and_the_connector_are_found(judged: Any) -> None:
    """The demo's README says what is wrong: from flight 4 the right wing, from 7 the left."""
    assert judged["schema"] == "busbook.history/1"
    assert judged["verdict"] == "ground"
    found = {(f["code"], f["place"]): f for f in judged["findings"]}
    servo = found[("servo-current-rising", "right wing")]
    lead = found[("branch-resistance-rising", "left wing")]
    order = [f["id"] for f in judged["flights"]]
    # The bench recording is the first: flight 4 is the fifth recording, flight 7 the eighth.
    assert 4 <= order.index(servo["since_flight"]) <= 7
    assert 7 <= order.index(lead["since_flight"]) <= 9
    places = {f["place"] for f in judged["findings"]}
    assert places <= {"right wing", "left wing"}, "nothing else is wrong with it"
    assert servo["change"]["low"] > 0
    assert lead["change"]["low"] > 8


def test_the_history_on_the_screen(added: tuple[Path, Result]) -> None:
    result = call("history", "tern", "--book", added[0])
    assert result.stderr == "", "the measures were kept when the logs were added"
    lines = [x for x in result.stdout.splitlines() if not x.startswith("    busbook ")]
    assert max(map(columns_of, lines)) <= 80
    assert "!!! GROUND IT" in result.stdout
    assert not re.search(r"\bsafe", result.stdout, re.IGNORECASE)
    assert 'busbook note tern "what was done" --kind repaired --place' in result.stdout


def test_a_repair_closes_its_finding_and_begins_a_baseline_there_alone(
    book: Path, judged: Any
) -> None:
    call(
        *("note", "tern", "servo replaced", "--kind", "repaired", "--place", "right wing"),
        *("--on", "2026-04-26", "--book", book),
    )
    after = strict(call("history", "tern", "--book", book, "--json").stdout)
    still = {f["place"] for f in after["findings"] if f["state"] == "open"}
    assert still == {"left wing"}
    closed = [f for f in after["findings"] if f["closed_by"] is not None]
    assert [(f["code"], f["place"], f["closed_by"]["kind"]) for f in closed] == [
        ("servo-current-rising", "right wing", "repaired")
    ]

    def trend(found: Any, code: str, place: str) -> Any:
        return [t for t in found["trends"] if (t["code"], t["place"]) == (code, place)]

    lead = ("branch-resistance-rising", "left wing")
    assert trend(after, *lead) == trend(judged, *lead), "the other wing's baseline runs on"
    assert not [t for t in trend(after, "servo-current-rising", "right wing") if t["since"]]
    shown = " ".join(call("history", "tern", "--book", book).stdout.split())
    assert "Right wing: repaired on 26 April 2026 (servo replaced)" in shown


@pytest.mark.parametrize("kind", ["checked", "charged"])
def test_other_notes_change_nothing_that_is_judged(book: Path, judged: Any, kind: str) -> None:
    call("note", "tern", "looked at it", "--kind", kind, "--on", "2026-04-20", "--book", book)
    after = strict(call("history", "tern", "--book", book, "--json").stdout)
    assert after["findings"] == judged["findings"]
    assert len(after["notes"]) == 1


def test_reports_are_written_beside_each_other_and_every_link_leads_somewhere(
    added: tuple[Path, Result], tmp_path: Path
) -> None:
    out = tmp_path / "reports"
    result = call("history", "tern", "--book", added[0], "--out", out, "--reviews", "1")
    page = (out / "tern-history.html").read_text(encoding="utf-8")
    links = set(re.findall(r'href="(tern-flights/[^"]*)"', page))
    written = {str(p.relative_to(out)) for p in out.rglob("*.html")} - {"tern-history.html"}
    assert links == written
    assert "tern-flights/013-tern-flight-12.html" in links
    assert result.stderr.splitlines()[-1] == f"wrote {out / 'tern-history.html'}"
    last = (out / "tern-flights/013-tern-flight-12.html").read_text(encoding="utf-8")
    assert "Beside earlier flights" in last


def test_formats_of_the_history(added: tuple[Path, Result], tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    call("history", "tern", "--book", added[0], "--json")
    assert not list(tmp_path.iterdir()), "with --json nothing is drawn unless asked for"
    call("history", "tern", "--book", added[0], "--format", "pdf")
    assert [p.name for p in tmp_path.iterdir()] == ["tern-history.pdf"]
    assert (tmp_path / "tern-history.pdf").read_bytes().startswith(b"%PDF")
    bad = call("history", "tern", "--book", added[0], "--format", "docx", code=2)
    assert "html,pdf" in bad.stderr


def test_measures_of_another_profile_are_made_again_with_progress(
    tmp_path: Path, log_text: str, faulty_text: str
) -> None:
    book = tmp_path / "book"
    for name, text in (("a", log_text), ("b", faulty_text)):
        (tmp_path / f"{name}.csv").write_text(text)
    call("add", tmp_path / "a.csv", tmp_path / "b.csv", "--aircraft", "wren", "--book", book)
    assert call("history", "wren", "--book", book).stderr == ""
    profile = book / "aircraft" / "wren.toml"
    told = profile.read_text(encoding="utf-8").replace("[limits]", "[limits]\nrestart_v = 4.2")
    profile.write_text(told, encoding="utf-8")
    again = call("history", "wren", "--book", book)
    assert again.stderr.splitlines() == ["1/2 measured", "2/2 measured"]
    assert call("history", "wren", "--book", book).stderr == ""


# A review beside the book.


def test_a_review_of_a_known_aircraft_is_set_beside_its_flights(
    added: tuple[Path, Result], season: Path
) -> None:
    (last,) = season.rglob("tern-flight-12.csv")
    options = ("--aircraft", "tern", "--book", added[0])
    shown = call("review", last, *options).stdout
    assert re.search(
        r"Left wing lead resistance \d+ mOhm, usual \d+ to \d+ mOhm over 7\s+flights, "
        r"without\s+5\s+of\s+an\s+open\s+finding\s+there\.",
        shown,
    )
    assert "One measure alone proves nothing" in shown
    (one,) = strict(call("review", last, *options, "--json").stdout)["reviews"]
    rows = {(r["place"], r["feature"]): r for r in one["compared"]}
    lead = rows[("left wing", "branch_mohm")]
    assert lead["outside"] is True
    assert (lead["flights"], lead["left_out"]) == (7, 5), "what is faulty never becomes usual"
    assert lead["value"] > lead["usual_high"] > lead["usual_low"]
    assert rows[("right wing", "branch_mohm")]["outside"] is False


def test_an_early_flight_is_compared_with_those_before_it_only(
    added: tuple[Path, Result], season: Path
) -> None:
    (log,) = season.rglob("tern-flight-03.csv")
    options = ("--aircraft", "tern", "--book", added[0], "--json")
    (one,) = strict(call("review", log, *options).stdout)["reviews"]
    assert {r["flights"] for r in one["compared"]} == {3}
    (first,) = season.rglob("tern-flight-01.csv")
    result = call("review", first, *options)
    assert strict(result.stdout)["reviews"][0]["compared"] == []
    assert "fewer than three earlier flights of 'tern'" in result.stderr


def test_what_was_before_a_repair_is_not_called_usual(book: Path, season: Path) -> None:
    call(
        *("note", "tern", "plug cleaned", "--kind", "repaired", "--place", "tail"),
        *("--on", "2026-04-12", "--book", book),
    )
    (last,) = season.rglob("tern-flight-12.csv")
    found = call("review", last, "--aircraft", "tern", "--book", book, "--json").stdout
    rows = {(r["place"], r["feature"]): r for r in strict(found)["reviews"][0]["compared"]}
    lead = rows[("tail", "branch_mohm")]
    assert (lead["flights"], lead["left_out"]) == (5, 0)
    other = rows[("right wing", "branch_mohm")]
    assert other["flights"] + other["left_out"] == 12


def test_a_flight_of_the_book_is_opened_by_its_id(added: tuple[Path, Result]) -> None:
    flight = Logbook(added[0]).flights("tern")[-1]
    shown = call("review", flight.id, "--book", added[0]).stdout
    assert "tern-flight-12.csv" in shown
    assert "-- Beside earlier flights" in shown
    nobody = call("review", "0" * 16 + "-0", "--book", added[0], code=2)
    assert "the book has no flight" in nobody.stderr


def test_a_damaged_book_does_not_keep_a_log_from_its_review(book: Path, season: Path) -> None:
    next(book.glob("originals/*.json")).write_text("{")
    (last,) = season.rglob("tern-flight-12.csv")
    result = call("review", last, "--aircraft", "tern", "--book", book)
    assert "not compared with earlier flights" in result.stderr
    assert "-- Findings" in result.stdout


def test_pdf_and_page_of_a_review_hold_the_comparison(
    added: tuple[Path, Result], season: Path, tmp_path: Path
) -> None:
    (last,) = season.rglob("tern-flight-12.csv")
    call("review", last, "--aircraft", "tern", "--book", added[0], "--out", tmp_path)
    page = (tmp_path / "tern-flight-12.html").read_text(encoding="utf-8")
    assert '<h2 id="beside-title">Beside earlier flights</h2>' in page
    assert "<td>outside</td>" in page


# In Python.


def test_the_same_from_python(added: tuple[Path, Result], judged: Any) -> None:
    import telemetry

    book = telemetry.Logbook(added[0])
    history = telemetry.history(book, "tern")
    assert [f.code for f in history.findings] == [f["code"] for f in judged["findings"]]
    assert history.verdict == "ground"
    review = telemetry.review(book.read(history.flights[-1].id), book.profile("tern"))
    assert not review.events.empty
    assert replace(review, compared=()).verdict == review.verdict
