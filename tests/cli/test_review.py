"""``busbook review``: what goes where, what it exits with, and what it leaves behind."""

from __future__ import annotations

import json
import os
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest


def loads(text: str) -> Any:
    def refuse(name: str) -> Any:
        raise AssertionError(f"{name} is no JSON")

    return json.loads(text, parse_constant=refuse)


def files_in(folder: Path) -> list[str]:
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())


def test_the_review_goes_to_stdout_and_nothing_else_is_said(run, log: Path) -> None:
    result = run("review", log)
    assert result.exit_code == 0
    assert "NOTHING FOUND IN THIS LOG" in result.stdout
    assert result.stdout[0] != "\n"
    assert str(log.name) in result.stdout
    assert result.stderr == ""
    lines = [x for x in result.stdout.splitlines() if str(log) not in x]
    assert max(map(len, lines)) <= 80, "all but a path, which can be copied only whole"
    assert files_in(log.parent) == ["evening.csv"], "without --out nothing is written"


def test_progress_and_reports_are_told_on_stderr(run, log: Path, faulty: Path, tmp_path) -> None:
    out = tmp_path / "reports"
    result = run("review", log, faulty, "--out", out)
    assert result.exit_code == 0
    said = result.stderr.splitlines()
    assert said == [
        f"1/2 {log}",
        f"wrote {out / 'evening.html'}",
        f"2/2 {faulty}",
        f"wrote {out / 'noon.html'}",
        f"wrote {out / 'index.html'}",
    ]
    assert result.stdout.count("-- Cautions") == 1, "once for all of them"
    assert files_in(out) == ["evening.html", "index.html", "noon.html"]


def test_several_logs_end_with_a_summary_the_worst_first(run, log, faulty, tmp_path) -> None:
    out = tmp_path / "reports"
    bad = tmp_path / "bad.csv"
    bad.write_text("nothing\n")
    result = run("review", log, faulty, bad, "--out", out)
    assert result.exit_code == 2
    summary = result.stdout[result.stdout.rindex("2 logs reviewed: ") :]
    assert summary.index("noon.csv") < summary.index("NOTHING FOUND IN THIS LOG")
    assert summary.index("NOTHING FOUND IN THIS LOG") < summary.index("evening.csv")
    assert "busbook add " in summary.splitlines()[-1]
    page = (out / "index.html").read_text(encoding="utf-8")
    assert page.index('href="noon.html"') < page.index('href="evening.html"')
    assert "bad.csv" in page[page.index("Could not be reviewed") :]


def test_several_logs_are_a_table_and_the_worst_findings(run, log, faulty, tmp_path) -> None:
    """Not the whole text of each: that is what one log is for."""
    card = tmp_path / "card"
    card.mkdir()
    for k in range(6):
        text = (faulty if k % 2 else log).read_text()
        (card / f"{k}.csv").write_text(f"{text}\n" + "\n" * k)  # other bytes, the same rows
    shown = run("review", card).stdout.splitlines()
    assert max(len(x) for x in shown if "busbook review" not in x) <= 80
    assert len(shown) < 120
    table = [line for line in shown if line.rstrip().endswith(" V")]
    assert len(table) == 6
    assert [line.startswith("!!!") for line in table] == [True] * 3 + [False] * 3
    words = " ".join(" ".join(shown).split())
    assert words.count("-- The worst findings") == 1
    worst = words[words.index("-- The worst findings") :]
    # Before any step on the bench what has to be safe; each finding once, with its logs.
    assert worst.index("Before any step on the bench") < worst.index("GROUND IT")
    assert "and 2 other logs." in worst
    alone = run("review", faulty).stdout
    titles = [x[4:40] for x in alone.splitlines() if x.startswith("!!! GROUND IT: ")]
    assert titles
    for title in titles[:5]:
        assert " ".join(shown).count(title) == 1
    assert "-- Places" not in words
    assert "-- Places" in alone


@pytest.mark.parametrize("options", [(), ("--json",), ("--format", "pdf")])
def test_no_index_without_html_reports(run, log, faulty, tmp_path, monkeypatch, options) -> None:
    monkeypatch.chdir(tmp_path)
    result = run("review", log, faulty, *options)
    assert result.exit_code == 0
    assert not list(tmp_path.rglob("index.html"))
    assert ("logs reviewed" in result.stdout) == ("--json" not in options)


def test_a_log_named_like_the_index_keeps_a_report_of_its_own(
    run, log, tmp_path, faulty_text
) -> None:
    (tmp_path / "Index.csv").write_text(faulty_text)
    out = tmp_path / "reports"
    assert run("review", log, tmp_path / "Index.csv", "--out", out).exit_code == 0
    assert files_in(out) == ["Index-2.html", "evening.html", "index.html"]
    assert 'href="Index-2.html"' in (out / "index.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("fail_on", "clear", "grave"), [(None, 0, 0), ("watch", 0, 1), ("ground", 0, 1)]
)
def test_exit_status_by_level(run, log, faulty, fail_on, clear, grave) -> None:
    options = () if fail_on is None else ("--fail-on", fail_on)
    assert run("review", log, *options).exit_code == clear
    assert run("review", faulty, *options).exit_code == grave
    assert run("review", log, faulty, *options).exit_code == grave


ORDERS = list(permutations(("ground", "watch", "clear")))
SHOWN = {"ground": "GROUND IT", "watch": "WATCH", "clear": "NOTHING FOUND IN THIS LOG"}


@pytest.fixture
def by_level(tmp_path, log_text, watch_text, faulty_text) -> dict[str, Path]:
    """A log of each level; their names say nothing of it."""
    texts = {"clear": log_text, "watch": watch_text, "ground": faulty_text}
    paths = {level: tmp_path / f"{name}.csv" for level, name in zip(texts, "bac", strict=True)}
    for level, path in paths.items():
        path.write_text(texts[level])
    return paths


@pytest.mark.parametrize("order", [*ORDERS, ("watch", "clear")], ids=" ".join)
def test_the_worst_of_several_logs_decides_in_any_order(run, by_level, order) -> None:
    """Not the last log, nor the first: the exit status by level is that of the worst."""
    fail_on = "ground" if "ground" in order else "watch"
    result = run("review", *(by_level[k] for k in order), "--json", "--fail-on", fail_on)
    assert result.exit_code == 1
    assert [r["verdict"] for r in loads(result.stdout)["reviews"]] == list(order)


@pytest.mark.parametrize("order", [ORDERS[0], ORDERS[-2]], ids=" ".join)
def test_the_summary_of_several_logs_is_headed_by_the_worst(run, by_level, order, tmp_path) -> None:
    """On the screen and on the page that leads to the reports, whatever the order of the logs."""
    out = tmp_path / "reports"
    result = run("review", *(by_level[level] for level in order), "--out", out)
    head = "3 logs reviewed: 1 to ground, 1 to watch, 1 with nothing found"
    summary = result.stdout[result.stdout.rindex(head) :]
    shown = [summary.index(SHOWN[level]) for level in ("ground", "watch", "clear")]
    assert shown == sorted(shown)
    page = (out / "index.html").read_text(encoding="utf-8")
    assert head in page
    files = [f'href="{by_level[level].stem}.html"' for level in ("ground", "watch", "clear")]
    assert [page.index(f) for f in files] == sorted(page.index(f) for f in files)


def test_a_log_that_cannot_be_judged_is_no_failure_of_the_aircraft(run, tmp_path) -> None:
    path = tmp_path / "still.csv"
    path.write_text("t [s],Bus U [V]\n" + "".join(f"{k},{6 + 0.01 * (k % 3)}\n" for k in range(60)))
    result = run("review", path, "--fail-on", "watch", "--json")
    assert loads(result.stdout)["reviews"][0]["verdict"] == "unknown"
    assert result.exit_code == 0


def test_one_bad_log_does_not_stop_the_others(run, log, faulty, tmp_path) -> None:
    broken = tmp_path / "broken.csv"
    broken.write_bytes(b"PK\x03\x04 a zip")
    out = tmp_path / "reports"
    result = run("review", log, broken, faulty, "--out", out, "--json", "--fail-on", "ground")
    assert result.exit_code == 2, "what could not be read weighs more than what was found"
    document = loads(result.stdout)
    assert [Path(r["log"]["file"]).name for r in document["reviews"]] == ["evening.csv", "noon.csv"]
    (error,) = document["errors"]
    assert error["file"] == str(broken)
    assert str(broken) in error["message"]
    assert error["message"] in result.stderr
    assert result.stderr.splitlines()[-2:] == [
        "1 of 3 logs failed, for the reasons above:",
        f"  {broken}",
    ]
    assert files_in(out) == ["evening.html", "index.html", "noon.html"]


def test_a_fault_of_the_program_is_one_sentence_and_stops_no_other_log(
    run, log, faulty, monkeypatch
) -> None:
    import telemetry.app.pipeline

    real = telemetry.app.pipeline.review

    def fails_at_noon(one, craft):
        if "noon" in one.provenance.file:
            raise KeyError("planted")
        return real(one, craft)

    monkeypatch.setattr(telemetry.app.pipeline, "review", fails_at_noon)
    result = run("review", faulty, log, "--json")
    assert result.exit_code == 2
    document = loads(result.stdout)
    assert len(document["reviews"]) == 1
    (error,) = document["errors"]
    assert "KeyError('planted')" in error["message"]
    assert "test_review.py, line" in error["message"]
    assert "report it" in error["message"]


def test_folders_are_searched_and_what_is_no_log_is_left_alone(run, tmp_path, log_text) -> None:
    day = tmp_path / "day"
    for name in ("b.CSV", "a.csv", "deeper/c.txt", ".hidden.csv", "README.txt", "photo.png"):
        path = day / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(log_text if not name.startswith("photo") else "no log")
    result = run("review", day, day / "a.csv", "--json")
    assert result.exit_code == 0
    seen = [r["log"]["file"] for r in loads(result.stdout)["reviews"]]
    assert seen == [str(day / "a.csv"), str(day / "b.CSV"), str(day / "deeper" / "c.txt")]


def test_logs_of_a_folder_come_in_the_order_of_their_numbers(run, tmp_path, log_text) -> None:
    for name in ("log 10.csv", "log 9.csv"):
        (tmp_path / name).write_text(log_text)
    result = run("review", tmp_path, "--json")
    seen = [r["log"]["file"] for r in loads(result.stdout)["reviews"]]
    assert seen == [str(tmp_path / "log 9.csv"), str(tmp_path / "log 10.csv")]


def test_a_folder_that_cannot_be_read_is_told(run, log, tmp_path, monkeypatch) -> None:
    real = os.scandir

    def scandir(path):
        if Path(path).name == "shut":
            raise PermissionError(13, "Permission denied", str(path))
        return real(path)

    (tmp_path / "shut").mkdir()
    monkeypatch.setattr(os, "scandir", scandir)
    result = run("review", tmp_path / "shut", log, "--json")
    assert result.exit_code == 2
    (error,) = loads(result.stdout)["errors"]
    assert "this folder cannot be read" in error["message"]


def test_a_folder_without_logs_is_one_of_the_bad_ones(run, log, tmp_path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    result = run("review", empty, log, "--json")
    assert result.exit_code == 2
    document = loads(result.stdout)
    assert len(document["reviews"]) == 1
    assert "no log in it" in document["errors"][0]["message"]
    alone = run("review", empty)
    assert (alone.exit_code, alone.stdout) == (2, "")
    assert len(alone.stderr.strip().splitlines()) == 1


def test_logs_of_one_name_keep_reports_of_their_own(run, tmp_path, log_text, faulty_text) -> None:
    for folder, name, text in (
        ("sat", "one.csv", log_text),
        ("sun", "one.csv", faulty_text),
        ("mon", "ONE.csv", log_text),
        ("tue", "one-2.csv", faulty_text),
    ):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / name).write_text(text)
    out = tmp_path / "reports"
    logs = [tmp_path / "sat/one.csv", tmp_path / "sun/one.csv"]
    logs += [tmp_path / "mon/ONE.csv", tmp_path / "tue/one-2.csv"]
    result = run("review", *logs, "--out", out)
    assert result.exit_code == 0
    written = files_in(out)
    assert len({name.casefold() for name in written}) == 5
    told = [Path(x.removeprefix("wrote ")) for x in result.stderr.splitlines() if "wrote" in x]
    assert sorted(p.name for p in told) == written
    assert told.pop().name == "index.html"
    for path, log in zip(told, logs, strict=True):
        assert str(log) in path.read_text(encoding="utf-8"), "each report is of its own log"


@pytest.mark.parametrize(
    ("formats", "endings"),
    [
        ("html", {".html"}),
        ("pdf", {".pdf"}),
        ("html,pdf", {".html", ".pdf"}),
        ("PDF, html,pdf", {".html", ".pdf"}),
    ],
)
def test_formats(run, log, tmp_path, formats, endings) -> None:
    out = tmp_path / "deep" / "reports"
    result = run("review", log, "--out", out, "--format", formats)
    assert result.exit_code == 0
    assert {p.suffix for p in out.iterdir()} == endings
    for path in out.iterdir():
        start = path.read_bytes()[:15].lower()
        assert start.startswith(b"%pdf" if path.suffix == ".pdf" else b"<!doctype html>")


@pytest.mark.parametrize("formats", ["docx", "html,docx", "", " , "])
def test_unknown_formats_are_refused_before_any_work(run, log, tmp_path, formats) -> None:
    out = tmp_path / "reports"
    result = run("review", log, "--out", out, "--format", formats)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "html,pdf" in result.stderr
    assert not out.exists()


def test_json_draws_nothing_unless_asked(run, log, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    loads(run("review", log, "--json").stdout)
    assert files_in(tmp_path) == ["logs/evening.csv"]
    result = run("review", log, "--json", "--format", "html")
    loads(result.stdout)
    assert files_in(tmp_path) == ["evening.html", "logs/evening.csv"]


def test_settings_are_taken_for_a_header_that_names_nothing(run, tmp_path, log_text) -> None:
    _, body = log_text.split("\n", 1)
    path = tmp_path / "dumb.csv"
    path.write_text(",".join(f"Field {k}" for k in range(6)) + "\n" + body)
    dumb = loads(run("review", path, "--json").stdout)["reviews"][0]
    assert dumb["verdict"] == "unknown"
    sets = [
        "Field 0=time[s]",
        "Field 1=bus/voltage[V]",
        "Field 2=bus/current[A]",
        "Field 3=left wing/voltage[V]",
        "Field 4=left wing/current[A]",
        "Field 5=right wing/current[A]",
    ]
    told = loads(run("review", path, "--json", *(f"--set={s}" for s in sets)).stdout)
    path.write_text(log_text)
    plain = loads(run("review", path, "--json").stdout)
    assert told["reviews"][0]["flights"] == plain["reviews"][0]["flights"]


def test_a_setting_changes_the_unit(run, tmp_path, log_text) -> None:
    path = tmp_path / "log.csv"
    path.write_text(log_text.replace("Bus I [A]", "Bus I"))
    amps = loads(run("review", path, "--json").stdout)["reviews"][0]
    milli = loads(run("review", path, "--json", "--set", "Bus I=bus/current[mA]").stdout)
    bus = next(c for c in amps["flights"][0]["charge"] if c["place"] == "bus")
    small = next(c for c in milli["reviews"][0]["flights"][0]["charge"] if c["place"] == "bus")
    assert small["integrated_mah"] == pytest.approx(bus["integrated_mah"] / 1000)


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        ("nonsense", "not of the form"),
        ("=bus/voltage[V]", "not of the form"),
        ("Bus U [V]=", "not of the form"),
        ("Bus U [V]=bus/speeed[V]", "quantit"),
        ("Bus U [V]=bus/voltage[parsec]", "parsec"),
        ("Bus U [V]=bus/voltage[A]", "cannot be in"),
        ("Nowhere=bus/voltage[V]", "Nowhere"),
        ("Time [s]=time[fortnight]", "fortnight"),
        ("@separator=x", "separator"),
        ("@colour=red", "@colour"),
    ],
)
def test_settings_that_are_not_understood(run, log, setting, words) -> None:
    result = run("review", log, "--set", setting)
    assert (result.exit_code, result.stdout) == (2, "")
    assert words in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1


def test_rows_without_a_time_take_it_from_the_option(run, tmp_path, log_text) -> None:
    path = tmp_path / "timeless.csv"
    path.write_text("\n".join(x.split(",", 1)[1] for x in log_text.splitlines()) + "\n")
    refused = run("review", path)
    assert refused.exit_code == 2
    assert "--row-interval" in refused.stderr
    log = loads(run("review", path, "--row-interval", "0.1", "--json").stdout)["reviews"][0]["log"]
    assert log["duration_s"] == pytest.approx(59.9)
    twice = loads(run("review", path, "--row-interval", "0.2", "--json").stdout)["reviews"][0]
    assert twice["log"]["duration_s"] == pytest.approx(119.8)


@pytest.mark.parametrize("interval", ["0", "-1", "nan", "inf", "x", ""])
def test_impossible_row_intervals(run, log, interval) -> None:
    result = run("review", log, "--row-interval", interval)
    assert (result.exit_code, result.stdout) == (2, "")


def test_joined_logs_are_one_recording(run, tmp_path, log_text) -> None:
    lines = log_text.splitlines()
    first, second = tmp_path / "a.csv", tmp_path / "b.csv"
    first.write_text("\n".join(lines[:301]) + "\n")
    second.write_text("\n".join([lines[0], *lines[301:]]) + "\n")
    whole = tmp_path / "whole.csv"
    whole.write_text(log_text)
    joined = loads(run("review", first, second, "--join", "--json").stdout)["reviews"]
    assert len(joined) == 1
    (plain,) = loads(run("review", whole, "--json").stdout)["reviews"]
    assert joined[0]["log"]["rows"] == plain["log"]["rows"]
    assert joined[0]["flights"] == plain["flights"]
    result = run("review", first, tmp_path / "none.csv", "--join")
    assert (result.exit_code, result.stdout) == (2, "")
    assert str(tmp_path / "none.csv") in result.stderr


def test_a_profile_by_its_file_and_by_a_name_that_is_none(run, log, tmp_path) -> None:
    profile = tmp_path / "wren.toml"
    profile.write_text('name = "Wren (invented)"\n[limits]\nrestart_v = 7.7\n')
    shown = run("review", log, "--aircraft", profile)
    assert shown.exit_code == 0, shown.stderr
    assert "Wren (invented)" in shown.stdout
    assert "7.7" in shown.stdout
    profile.write_text('name = "Wren"\n[limits]\nrestart_w = 4\n')
    wrong = run("review", log, "--aircraft", profile)
    assert (wrong.exit_code, wrong.stdout) == (2, "")
    assert "restart_w" in wrong.stderr
    assert "line 3" in wrong.stderr
    nobody = run("review", log, "--aircraft", "nobody-of-this-name")
    assert (nobody.exit_code, nobody.stdout) == (2, "")
    assert "nobody-of-this-name" in nobody.stderr


def test_the_same_log_gives_the_same_bytes(run, log, tmp_path) -> None:
    for folder in ("a", "b"):
        assert run("review", log, "--out", tmp_path / folder, "--format", "html,pdf").exit_code == 0
    for name in ("evening.html", "evening.pdf"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()
    assert run("review", log, "--json").stdout == run("review", log, "--json").stdout


def test_the_next_command_reads_the_logs_as_this_one_did(run, tmp_path, log_text) -> None:
    head, *rows = log_text.splitlines()
    parts = [tmp_path / "one.csv", tmp_path / "two.csv"]
    for path, some in zip(parts, (rows[:300], rows[300:]), strict=True):
        path.write_text("\n".join([head, *some]) + "\n")
    out = tmp_path / "reports"
    named = f"{parts[0]} {parts[1]} --join"
    shown = " ".join(run("review", *parts, "--join").stdout.split())
    assert f"busbook review {named} --out reports" in shown
    shown = " ".join(run("review", *parts, "--join", "--out", out).stdout.split())
    assert f"busbook add {named} --aircraft NAME" in shown
    timeless = tmp_path / "timeless.csv"
    timeless.write_text("\n".join(x.partition(",")[2] for x in (head, *rows)) + "\n")
    done = run("review", timeless, "--row-interval", "0.1")
    shown = " ".join(done.stdout.split())
    assert f"busbook review {timeless} --row-interval 0.1 --out reports" in shown
