"""Pages that only show: the answer first, then why, then what to do first."""

from __future__ import annotations

import re
from base64 import b64encode
from hashlib import sha256
from html import unescape
from threading import Event

import pytest

from telemetry.app.histories import history

PATHS = [
    "/",
    "/aircraft/tern",
    "/aircraft/tern/flights/3",
    "/aircraft/tern/compare",
    "/aircraft/tern/compare?a=1&b=3",
    "/aircraft/tern/checks",
    "/aircraft/tern/sheet",
    "/aircraft/tern/notes",
    "/aircraft/tern/settings",
    "/aircraft/tern/note?place=bus&kind=repaired&text=plug",
    "/aircraft/tern/flights/3/change",
    "/guide",
    "/guide/findings",
    "/work",
    "/sort",
    "/nothing",
]


def words(text: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", text)).split())


@pytest.mark.parametrize("path", PATHS)
def test_every_page_has_a_policy_that_allows_itself_alone(looked, path) -> None:
    answer = looked.get(path)
    assert answer.status_code == (404 if path == "/nothing" else 200)
    policy = answer.headers["content-security-policy"]
    for kind, rule in (("style", "style-src"), ("script", "script-src")):
        (allowed,) = [r for r in policy.split("; ") if r.startswith(rule)]
        for text in re.findall(rf"<{kind}>(.*?)</{kind}>", answer.text, re.DOTALL):
            assert b64encode(sha256(text.encode()).digest()).decode() in allowed
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy
    assert not re.search(r"<[^<>]* (style|on\w+)=", answer.text)
    assert 'http-equiv="Content-Security-Policy"' not in answer.text
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"
    assert len(re.findall(r"<h1\b", answer.text)) == 1


@pytest.mark.parametrize("path", PATHS)
def test_every_link_leads_to_a_page(looked, path) -> None:
    text = re.sub(r'<form[^>]*method="post"[^>]*>', "", looked.get(path).text)
    for href in set(re.findall(r'(?:href|action)="(/[^"]*)"', text)):
        # The form of a note says what is missing in it; each flight is drawn once elsewhere.
        if href.endswith(("/note", "/flights/1", "/flights/2")):
            continue
        assert looked.get(unescape(href)).status_code == 200, href


def test_the_first_page_gives_the_answer_of_each_aircraft_the_worst_first(looked) -> None:
    for _ in range(50):
        text = looked.get("/").text
        if "Being judged" not in text:
            break
    found = history(looked.book, "tern")
    assert found.answer.level == "ground"
    told = words(text)
    assert told.index("tern") < told.index("gull")
    assert found.answer.word in told
    assert "as of flight 3, 3 May 2026" in told
    assert 'href="/aircraft/tern/flights/3"' in text


def test_the_page_of_an_aircraft_is_its_history_with_ways_on(looked) -> None:
    text = looked.get("/aircraft/tern").text
    told = words(text)
    assert told.index("Ground it") < told.index("Before the next flight") < told.index("Findings")
    for n in (1, 2, 3):
        assert f'href="/aircraft/tern/flights/{n}"' in text
    assert 'action="/aircraft/tern/note"' in text
    assert 'name="place" value="bus"' in text
    assert "busbook aircraft set" not in told


def test_the_page_of_a_flight_leads_to_both_neighbours(looked) -> None:
    text = looked.get("/aircraft/tern/flights/2").text
    ways = re.search(r'<nav class="ways".*?</nav>', text, re.DOTALL)[0]
    assert 'href="/aircraft/tern/flights/1"' in ways
    assert 'href="/aircraft/tern/flights/3"' in ways
    assert 'href="/aircraft/tern"' in ways
    assert 'id="timeline-data"' in text
    assert 'href="/aircraft/tern/flights/2/change"' in text


def test_a_page_is_made_once(looked, monkeypatch) -> None:
    first = looked.get("/aircraft/tern").text
    monkeypatch.setattr("telemetry.page.looking.history_document", None)
    assert looked.get("/aircraft/tern").text == first


def test_a_history_that_takes_its_time_is_said_and_no_page_waits(page, monkeypatch) -> None:
    go = Event()

    def slow(*args, progress, judged):
        judged(3, 9)
        go.wait(60)
        return history(*args)

    monkeypatch.setattr("telemetry.app.histories.history", slow)
    monkeypatch.setattr("telemetry.page.looking.PATIENCE_S", 0.05)
    for path in ("/aircraft/tern", "/aircraft/tern/flights/1", "/aircraft/tern/checks"):
        answer = page.get(path)
        assert answer.status_code == 200
        assert "Its flights are being judged with one another: 3 of 9." in words(answer.text)
        assert "data-again" in answer.text
    assert "Being judged" in page.get("/").text
    assert page.get("/guide").status_code == 200
    go.set()
    monkeypatch.setattr("telemetry.page.looking.PATIENCE_S", None)
    assert "Before the next flight" in page.get("/aircraft/tern").text


def test_a_page_is_made_anew_when_the_book_says_something_else(page) -> None:
    before = page.get("/aircraft/gull/notes").text
    book = page.book
    state = book.state("gull")
    book.note("gull", "new plug", kind="repaired", place="bus")
    assert book.state("gull") != state
    assert "new plug" in page.get("/aircraft/gull/notes").text
    assert "new plug" not in before


def test_an_empty_book_says_what_to_do_first(empty) -> None:
    told = words(empty.get("/").text)
    assert "The book is empty First add the logs of one aircraft" in told
    assert "Try it with an invented season" in told
    assert "Nothing is on its way" in words(empty.get("/work").text)
    assert "Nothing is open" in words(empty.get("/sort").text)


def test_what_is_not_there_is_said_in_a_sentence(looked) -> None:
    for path, told in (
        ("/aircraft/curlew", "The book has no aircraft 'curlew'."),
        ("/aircraft/tern/flights/9", "'tern' has no flight 9."),
        ("/guide/none", "The guide has no page 'none'."),
        ("/aircraft/tern/flights/x", "There is no such page."),
    ):
        answer = looked.get(path)
        assert answer.status_code == 404
        assert told in words(answer.text)
    answer = looked.get("/aircraft/tern/compare?a=1&b=1")
    assert "Choose two different flights" in words(answer.text)


def test_the_guide_is_linked_from_every_finding(looked) -> None:
    page = looked.get("/guide/findings").text
    text = looked.get("/aircraft/tern").text
    codes = re.findall(r'href="/guide/findings#([a-z-]+)"', text)
    assert codes
    for code in codes:
        assert f'id="{code}"' in page, code
