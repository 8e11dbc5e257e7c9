"""Logs that are dropped: taken in whole, added as by the command, asked about, never lost."""

from __future__ import annotations

import io
import json
import re
import shutil
import time
import zipfile
from html import unescape
from pathlib import Path

from telemetry.book import Logbook
from telemetry.page.work.batches import Spool, harmless
from telemetry.page.work.jobs import Work
from tests.cli.conftest import text_of
from tests.page.conftest import Page
from tests.page.test_looking import words

# A column of volts that no word tells the place of.
_OPEN = text_of(seed=21).replace("Left wing U [V]", "Xy7 [V]")


def files(**texts: str) -> list[tuple[str, tuple[str, bytes]]]:
    return [("logs", (f"{name}.csv", text.encode())) for name, text in texts.items()]


def test_logs_are_added_as_the_command_adds_them(page, tmp_path) -> None:
    answer = page.post("/drop", files=files(**{"tern 11": text_of(seed=11)}))
    assert answer.url.path == "/work"
    assert "1 log is still to be read" in words(answer.text)
    assert "data-again" in answer.text
    page.worked()
    told = words(page.get("/work").text)
    assert "tern 11.csv added , tern . Its columns and its name are known." in told
    assert "Everything that came is done" in told
    flights = page.book.flights("tern")
    assert [f.file for f in flights][-1] == "tern 11.csv"
    incoming = page.path / "incoming"
    assert [p.name for p in incoming.rglob("*") if p.is_file()] == ["batch.json"]
    assert page.book.check_book().problems == ()
    measured = page.path / "measures" / f"{flights[-1].id}.json"
    assert measured.exists()


def test_a_known_log_is_said_so_and_a_bad_one_stops_no_other(page, season) -> None:
    old = text_of(seed=1)
    page.post(
        "/drop",
        files=[
            ("logs", ("again.csv", old.encode())),
            ("logs", ("bad.csv", b"\x00\x01 no table")),
            ("logs", ("tern new.csv", text_of(seed=12).encode())),
        ],
    )
    page.worked()
    again, bad, new = page.work.shown()[0].logs
    assert (again.status, bad.status, new.status) == ("known", "failed", "added")
    assert again.words == "The book has it; nothing was changed."
    assert bad.words.endswith(".")
    assert str(page.path) not in bad.words


def test_a_zip_and_a_folder_are_searched_and_other_files_passed_by(page) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("card/tern 1.csv", text_of(seed=31))
        archive.writestr("card/tern 2.csv", text_of(seed=32))
        archive.writestr("card/photo.jpg", b"x")
    sent = [("logs", ("card.zip", packed.getvalue())), ("logs", ("a/tern 3.csv", text_of(seed=33)))]
    sent += [("logs", (f"DCIM/{n}.jpg", b"x")) for n in range(4)]
    page.post("/drop", files=sent)
    page.worked()
    logs = page.work.shown()[0].logs
    assert [log.status for log in logs] == ["added"] * 3
    assert logs[0].name == "card.zip: card/tern 1.csv"
    assert len(page.book.flights("tern")) == 6


def test_nothing_that_is_a_log_is_said_at_once(page) -> None:
    answer = page.post("/drop", files=[("logs", (f"{n}.jpg", b"x")) for n in range(5)])
    assert answer.status_code == 400
    assert "There was no log among these files." in words(answer.text)
    assert page.post("/drop", {"x": "y"}).status_code == 400


def test_whose_a_log_is_is_asked_once(page) -> None:
    page.post("/drop", files=files(one=text_of(seed=41), two=text_of(seed=42)))
    page.worked()
    assert [log.status for log in page.work.shown()[0].logs] == ["unsure", "unsure"]
    assert "2 logs wait for an answer from you" in words(page.get("/").text)
    asked = page.get("/sort").text
    assert "Several aircraft have these columns." in asked
    why = re.search(r'name="why" value="([^"]*)"', asked)[1]
    wrong = page.post("/sort/aircraft", {"why": why, "new": "../x"})
    assert wrong.status_code == 400
    page.post("/sort/aircraft", {"why": why, "aircraft": "gull"})
    page.worked()
    assert [log.status for log in page.work.shown()[0].logs] == ["added", "added"]
    assert len(page.book.flights("gull")) == 3


def test_a_first_log_makes_its_aircraft(empty) -> None:
    empty.post("/drop", files=files(first=text_of()))
    empty.worked()
    asked = empty.get("/sort").text
    why = re.search(r'name="why" value="([^"]*)"', asked)[1]
    empty.post("/sort/aircraft", {"why": why, "new": "Black Tern"})
    empty.worked()
    assert len(empty.book.flights("black tern")) == 1
    assert empty.book.profile("black tern") is not None


def test_a_log_is_left_out(page) -> None:
    page.post("/drop", files=files(one=text_of(seed=51)))
    page.worked()
    why = page.work.shown()[0].logs[0].words
    page.post("/sort/aircraft", {"why": why, "leave": "1"})
    assert page.work.questions() == 0
    assert "Left out, as you said." in words(page.get("/work").text)


def test_columns_are_settled_with_samples_and_the_answer_is_kept(page) -> None:
    page.post("/drop", files=files(**{"tern open": _OPEN}))
    page.worked()
    (log,) = page.work.shown()[0].logs
    assert log.status == "open"
    text = page.get("/sort").text
    question = next(
        f for f in re.findall(r"<fieldset>.*?</fieldset>", text, re.DOTALL) if "Xy7" in f
    )
    assert "<polyline points=" in question
    assert re.search(r"Cells: 7\.\d+", words(question))
    numbers = re.findall(r'name="place-(\d+)"', text)
    number = re.search(r'name="place-(\d+)"', question)[1]
    answers = {f"reading-{n}": "ignore" for n in numbers}
    answers["header"] = re.search(r'name="header" value="([^"]*)"', text)[1]
    answers[f"reading-{number}"] = "voltage"
    assert page.post("/sort/columns", answers).status_code == 400, "it has no place"
    answers[f"place-{number}"] = "Left  wing"
    done = page.post("/sort/columns", answers)
    assert done.url.path == "/work", words(done.text)
    page.worked()
    while page.work.questions():
        why = next(log.words for log in page.work.shown()[0].logs)
        page.post("/sort/aircraft", {"why": why, "aircraft": "tern"})
        page.worked()
    (log,) = page.work.shown()[0].logs
    assert log.status == "added", log
    channels = page.book.channels(log.flights[0])
    assert ("left wing", "voltage") in [(c.place, str(c.quantity)) for c in channels]
    # A later log with that header is read alike, without a question.
    page.post("/drop", files=files(**{"tern later": _OPEN.replace("7.9", "7.8")}))
    page.worked()
    (log,) = page.work.shown()[0].logs
    assert log.status == "added", log


def test_what_is_settled_as_it_stands_is_not_asked_again(page) -> None:
    page.post("/drop", files=files(**{"tern open": _OPEN}))
    page.worked()
    text = page.get("/sort").text
    answers = {"header": re.search(r'name="header" value="([^"]*)"', text)[1]}
    for number in re.findall(r'name="place-(\d+)"', text):
        first = re.search(rf'name="reading-{number}" value="([^"]*)"', text)[1]
        answers[f"reading-{number}"] = unescape(first)
    assert all("/" in v for k, v in answers.items() if k != "header"), "as their names say"
    page.post("/sort/columns", answers)
    page.worked()
    assert page.work.shown()[0].logs[0].status != "open"


def test_a_log_without_a_time_asks_for_its_interval(page) -> None:
    lines = text_of(seed=61).splitlines()
    untimed = "\n".join(line.partition(",")[2] for line in lines) + "\n"
    page.post("/drop", files=files(**{"tern untimed": untimed}))
    page.worked()
    assert page.work.shown()[0].logs[0].status == "open"
    text = page.get("/sort").text
    assert "Seconds between two rows" in words(text)
    data = {"header": re.search(r'name="header" value="([^"]*)"', text)[1]}
    data |= dict.fromkeys(re.findall(r'name="(reading-\d+)"', text), "ignore")
    assert page.post("/sort/columns", data | {"row_interval": "often"}).status_code == 400
    page.post("/sort/columns", data | {"row_interval": "0,1"})
    page.worked()
    assert page.work.shown()[0].logs[0].status != "open"


# Ends of the program.


def test_what_came_before_the_program_ended_is_added_by_the_next_start(book) -> None:
    first = Page(book, None)
    first.post("/drop", files=files(**{"tern a": text_of(seed=71), "tern b": text_of(seed=72)}))
    batch = first.work.shown()[0]
    # It was killed with one log read.
    first.work.keep(batch.__class__.of(batch.document() | {"begun": True}))
    second = Page(book, None)
    second.work.start()
    try:
        for _ in range(300):
            if not second.work.busy:
                break
            time.sleep(0.1)
    finally:
        second.work.stop()
    told = words(second.get("/work").text)
    assert "2 of 2 done; the program ended while it read them, and went on from there" in told
    assert len(second.book.flights("tern")) == 5


def test_an_upload_that_was_cut_off_leaves_nothing_and_is_said(book) -> None:
    left = book / "incoming" / ".20260101T000000-00000000.part" / "files"
    left.mkdir(parents=True)
    (left / "half.csv").write_text("half")
    page = Page(book, None)
    page.work.start()
    page.work.stop()
    assert not left.exists()
    assert "An upload was cut off when the program ended" in words(page.get("/work").text)


def test_a_full_disk_takes_nothing_in(page, monkeypatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shutil, "copyfileobj", full)
    answer = page.post("/drop", files=files(a=text_of()))
    assert answer.status_code == 507
    assert "No space left on device" in answer.text
    assert list((page.path / "incoming").iterdir()) == []


def test_a_folder_is_watched(book, tmp_path) -> None:
    inbox = tmp_path / "card"
    inbox.mkdir()
    work = Work(book, workers=0, inbox=inbox)
    work.start()
    try:
        (inbox / "tern 81.csv").write_text(text_of(seed=81))
        for _ in range(200):
            if work.shown() and not work.busy:
                break
            time.sleep(0.1)
    finally:
        work.stop()
    assert [log.status for batch in work.shown() for log in batch.logs] == ["added"]
    assert (inbox / "tern 81.csv").exists(), "nothing is taken from a card"
    assert len(Logbook(book).flights("tern")) == 4


def test_the_demo_season_is_one_click_away(empty, monkeypatch) -> None:
    def season(folder: Path) -> list[Path]:
        path = folder / "tern-1.csv"
        path.write_text(text_of())
        return [path]

    monkeypatch.setattr("telemetry.page.work.dropping.demo_season", season)
    answer = empty.post("/demo")
    assert "The invented season is being made." in words(answer.text)
    empty.worked()
    assert [log.name for log in empty.work.shown()[0].logs] == ["tern-1.csv"]


def test_what_cannot_be_made_is_said(empty, monkeypatch) -> None:
    def season(_: Path) -> list[Path]:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("telemetry.page.work.dropping.demo_season", season)
    empty.post("/demo")
    empty.worked()
    assert "No space left on device" in words(empty.get("/work").text)


def test_a_damaged_list_stops_nothing(book) -> None:
    spool = Spool(book / "incoming")
    batch = spool.take([("a.csv", io.BytesIO(text_of().encode()))])
    assert batch is not None
    path = book / "incoming" / batch.id / "batch.json"
    for text in ("", "[]", "{", json.dumps({"id": batch.id}), json.dumps({"id": 1, "logs": 3})):
        path.write_text(text)
        assert spool.batches() == []


def test_names_fit_every_system() -> None:
    assert harmless("a/b\\c.csv") == "c.csv"
    assert harmless('x:*?"<>|.csv') == "x_______.csv"
    assert harmless("") == "log"
    assert harmless("...") == "log"
    assert len(harmless("ü" * 300 + ".csv").encode()) < 140
