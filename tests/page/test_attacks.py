"""Attacks on the page: strangers, other sites, hostile names, floods. Each gets a sentence.

The list follows the OWASP Application Security Verification Standard's headings for sessions, files
and validation (from memory); the rules of cookies, origins and policies are those of RFC 6265bis,
RFC 6454 and the W3C's Content Security Policy.
"""

from __future__ import annotations

import asyncio
import io
import shutil
import socket
import zipfile
from contextlib import suppress
from pathlib import Path
from urllib.parse import quote

import pytest
from starlette.testclient import TestClient

from telemetry.book import Logbook
from telemetry.page import safety
from telemetry.page.safety import MOST_FORM_BYTES, Door
from telemetry.page.start import serving
from tests.cli.conftest import text_of
from tests.page.conftest import DOOR, HOST, KEY, Page, Served
from tests.page.test_looking import words

EVIL = "<script>alert(1)</script><img src=x onerror=alert(1)>\"'`"
WRITES = [
    "/drop",
    "/demo",
    "/stop",
    "/remove",
    "/restore",
    "/move",
    "/undo-settings",
    "/sort/aircraft",
    "/sort/columns",
    "/aircraft/tern/notes",
    "/aircraft/tern/settings",
    "/aircraft/tern/settings/text",
]


def state(book: Path) -> dict[str, bytes]:
    return {p.relative_to(book).as_posix(): p.read_bytes() for p in book.rglob("*") if p.is_file()}


# Who asks.


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8417", "127.0.0.1", "127.0.0.1:80", "", "[::1]:8417"]
)
def test_another_host_is_refused(looked, host) -> None:
    """DNS rebinding: the name of a stranger's site leads to this machine."""
    answer = looked.get("/", headers={"host": host})
    assert answer.status_code == 403
    assert answer.text.startswith("Refused: this page is not at this address")
    assert "tern" not in answer.text


def test_without_the_key_nothing_is_told_and_nothing_written(season) -> None:
    stranger = Page(season, None, key=False)
    before = state(season)
    for path in ("/", "/aircraft/tern", "/aircraft/tern/flights/1", "/work", "/guide", "/x"):
        answer = stranger.get(path)
        assert answer.status_code == 403
        assert "The key, please" in answer.text
        assert "tern" not in answer.text
    for path in WRITES:
        answer = stranger.post(path, {"what": "x", "text": "x"})
        assert answer.status_code == 403, path
    assert state(season) == before


def test_the_key_opens_once_and_a_cookie_holds_it_from_then_on(season) -> None:
    page = Page(season, None, key=False)
    answer = page.get(f"/aircraft/tern/notes?key={KEY}&kind=checked", follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/aircraft/tern/notes?kind=checked"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert page.get("/guide").status_code == 200
    again = page.get(f"/guide?key={KEY}", follow_redirects=False)
    assert again.headers["location"] == "/guide", "the key is not left in the address"
    typed = Page(season, None, key=False)
    wrong = typed.post("/key", {"key": "not-this-one"})
    assert (wrong.status_code, "This is not the key" in wrong.text) == (403, True)
    right = typed.post("/key", {"key": f" {KEY.upper()} "}, follow_redirects=False)
    assert (right.status_code, right.headers["location"]) == (303, "/")


def test_the_key_cannot_be_guessed(season) -> None:
    page = Page(season, None, key=False)
    codes = [page.get(f"/?key=guess-{n}").status_code for n in range(15)]
    assert codes == [403] * 10 + [429] * 5
    # The right one is not looked at either, until a minute has passed.
    assert page.get(f"/?key={KEY}").status_code == 429
    page.app.wrong = [at - 61 for at in page.app.wrong]
    assert page.get(f"/?key={KEY}", follow_redirects=False).status_code == 303


def test_the_way_in_leads_to_no_other_host(season) -> None:
    page = Page(season, None, key=False)
    for path in ("//evil.example/", "/\\evil.example/", "///evil.example"):
        answer = page.get(f"http://{HOST}{path}?key={KEY}", follow_redirects=False)
        where = answer.headers.get("location", "/")
        assert where.startswith("/")
        assert not where.startswith(("//", "/\\"))


# Writes of other sites.


@pytest.mark.parametrize("path", WRITES)
@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": ""},
        {"origin": "http://127.0.0.1:9000"},
        {"origin": "https://127.0.0.1:8417"},
        {"origin": f"http://{HOST}", "sec-fetch-site": "cross-site"},
        {"origin": f"http://{HOST}", "sec-fetch-site": "same-site"},
    ],
)
def test_a_write_from_elsewhere_is_refused(looked, path, headers) -> None:
    answer = looked.client.post(path, data={"what": "x"}, headers=headers)
    assert answer.status_code == 403
    assert answer.text == "Refused: only the page itself may write; open it and try again there.\n"


def test_reading_changes_nothing(looked) -> None:
    before = state(looked.path)
    for path in WRITES:
        assert looked.get(path).status_code in (200, 404, 405)
    assert looked.client.put("/", headers={"origin": f"http://{HOST}"}).status_code == 405
    assert looked.client.delete("/aircraft/tern").status_code == 405
    after = state(looked.path)
    assert {k: v for k, v in after.items() if "measures" not in k} == {
        k: v for k, v in before.items() if "measures" not in k
    }


# Paths.


@pytest.mark.parametrize(
    "name",
    ["..", "../..", "..%2f..%2fetc%2fpasswd", "%2e%2e", "/etc/passwd", "..\\..\\x", "\x00", "con"],
)
def test_no_path_leads_out_of_the_book(looked, name) -> None:
    for path in (
        f"/aircraft/{quote(name, safe='%')}",
        f"/aircraft/{quote(name, safe='')}",
        f"/aircraft/{quote(name, safe='')}/flights/1",
        f"/guide/{quote(name, safe='')}",
    ):
        answer = looked.get(path)
        # A browser takes dots of a path away by itself, as this client does.
        assert answer.status_code in (404, 403) or answer.url.path in ("/", "/aircraft/"), path
        assert "root:" not in answer.text


def test_ids_of_a_form_lead_nowhere_else(page) -> None:
    before = state(page.path)
    for what in ("../../format", "..", "/etc/passwd", "x" * 5000, EVIL, "\x00"):
        for path in ("/remove", "/restore", "/move"):
            answer = page.post(path, {"what": what, "to": "gull"})
            assert answer.status_code == 400, (path, what)
    for to in ("../x", "a/b", "", "con", ".hidden", "x" * 300, EVIL):
        flight = page.book.flights("tern")[0].id
        assert page.post("/move", {"what": flight, "to": to}).status_code == 400, to
    assert state(page.path) == before


@pytest.mark.parametrize(
    "name",
    ["../../../evil.csv", "..\\..\\evil.csv", "/etc/evil.csv", "C:\\evil.csv", "a\x00b.csv",
     "x" * 400 + ".csv", "...csv", "con.csv", EVIL + ".csv"],
)  # fmt: skip
def test_a_dropped_name_leads_nowhere_else(page, name) -> None:
    outside = state(page.path.parent)
    batch = page.work.spool.take([(name, io.BytesIO(b"a,b\n1,2\n"))])
    assert batch is not None
    inside = page.path / "incoming" / batch.id
    fresh = [p for p in page.path.parent.rglob("*") if p.is_file()]
    fresh = [p for p in fresh if p.relative_to(page.path.parent).as_posix() not in outside]
    assert fresh
    assert all(inside in p.parents for p in fresh)


# What names and texts hold.


def test_markup_stays_text_in_every_field(page) -> None:
    book = page.book
    book.put_profile("curlew", f'name = "curlew"\nbus = "{"<i>bus</i>"}"\n')
    book.note("tern", EVIL, kind="repaired", place="bus")
    page.work.came(page.work.spool.take([(EVIL + ".csv", io.BytesIO(b"no log"))]))
    page.worked()
    answers = [
        page.get("/"),
        page.get("/work"),
        page.get("/aircraft/tern/notes"),
        page.get(f"/aircraft/tern/note?kind=repaired&place=bus&text={quote(EVIL)}"),
        page.get(f"/aircraft/tern/note?kind={quote(EVIL)}&place={quote(EVIL)}&text={quote(EVIL)}"),
        page.get(f"/aircraft/tern/notes?did=note:{quote(EVIL)}"),
        page.get(f"/aircraft/tern/compare?a={quote(EVIL)}&b=2"),
        page.get(f"/aircraft/{quote(EVIL, safe='')}"),
        page.get(f"/guide/{quote(EVIL, safe='')}"),
        page.get(f"/?did=change:{quote(EVIL)}&from={quote(EVIL)}"),
        page.get("/aircraft/curlew/settings"),
        page.post("/aircraft/tern/settings/text", {"text": EVIL, "seal": EVIL}),
        page.post("/aircraft/tern/settings", {"p0.capacity": EVIL}),
        page.post("/move", {"what": EVIL, "to": EVIL}),
        page.post("/sort/aircraft", {"why": EVIL, "new": EVIL}),
        page.post("/sort/columns", {"header": EVIL}),
    ]
    planted = 0
    for answer in answers:
        assert "<script>alert" not in answer.text
        assert "<img" not in answer.text
        assert "<i>bus" not in answer.text
        planted += "alert(1)" in words(answer.text)
    assert planted >= 6, "nothing was planted"


def test_a_write_says_what_the_book_says_and_nothing_from_the_address(page) -> None:
    note = page.book.note("tern", "plug cleaned", kind="repaired", place="bus")
    told = words(page.get(f"/aircraft/tern/notes?did=note:{note.id}&text=EVIL&words=EVIL").text)
    assert "plug cleaned" in told
    assert "EVIL" not in told
    for did in ("note:none", "change:../../x", "change:", "x", "profile:none", ":" * 50):
        answer = page.get(f"/aircraft/tern/notes?did={did}")
        assert answer.status_code == 200
        assert "Traceback" not in answer.text


def test_a_profile_cannot_say_more_than_a_profile(page) -> None:
    seal = page.get("/aircraft/tern/settings").text.partition('name="seal" value="')[2][:32]
    for text in (
        "x = [" * 5000,
        "a" * 200_000,
        'name = "t"\nbus = 1',
        "\x00",
        "[[packs]]\n" * 2000,
    ):
        answer = page.post("/aircraft/tern/settings/text", {"text": text, "seal": seal})
        assert answer.status_code in (400, 413)
    assert page.book.profile("tern") is not None


# Floods.


def test_a_form_that_is_too_large_is_refused_before_it_is_read(looked) -> None:
    answer = looked.post("/aircraft/tern/notes", {"text": "x" * (MOST_FORM_BYTES + 1)})
    assert answer.status_code == 413
    assert "more than 1 MB at once" in answer.text


def test_a_body_that_says_nothing_of_its_length_is_counted(looked) -> None:
    def endless() -> object:
        for _ in range(40):
            yield b"text=" + b"x" * 100_000

    answer = looked.client.post(
        "/aircraft/tern/notes",
        content=endless(),
        headers={
            "origin": f"http://{HOST}",
            "content-type": "application/x-www-form-urlencoded",
        },
    )
    assert answer.status_code == 413


def test_a_length_that_is_none_is_refused(looked) -> None:
    for length in ("-1", "1e9", "x", "٣"):
        headers = {"origin": f"http://{HOST}", "content-length": length.encode()}
        assert looked.client.post("/remove", content=b"", headers=headers).status_code == 400


def test_more_fields_or_files_than_any_form_has_are_refused(looked) -> None:
    many = {f"f{n}": "x" for n in range(4000)}
    assert looked.post("/aircraft/tern/settings", many).status_code == 400
    files = [("logs", (f"{n}.csv", b"x")) for n in range(2001)]
    assert looked.post("/drop", files=files).status_code == 400
    where_none_belong = [("what", ("a.csv", b"x"))]
    assert looked.post("/remove", files=where_none_belong).status_code == 400


def test_who_sends_nothing_is_not_waited_for(season, monkeypatch) -> None:
    monkeypatch.setattr(safety, "PATIENCE_S", 0.05)
    page = Page(season, None)
    sent: list[dict] = []

    async def receive() -> dict:
        await asyncio.sleep(5)
        return {"type": "http.request", "body": b"", "more_body": True}

    async def send(message) -> None:
        sent.append(message)

    headers = {
        "host": HOST,
        "origin": f"http://{HOST}",
        "cookie": f"{DOOR.cookie}={KEY}",
        "content-type": "application/x-www-form-urlencoded",
        "content-length": "100",
    }
    scope = {
        "type": "http",
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": "/aircraft/tern/notes",
        "raw_path": b"/aircraft/tern/notes",
        "query_string": b"",
        "headers": [(k.encode(), v.encode()) for k, v in headers.items()],
        "server": ("127.0.0.1", 8417),
        "client": ("127.0.0.1", 5),
    }
    asyncio.run(asyncio.wait_for(page.app(scope, receive, send), 3))
    assert sent[0]["status"] == 408


def test_who_never_says_what_he_wants_is_given_up(book, monkeypatch) -> None:
    """A connection that is held open letter by letter takes no place from others for long."""
    monkeypatch.setattr(serving, "HEAD_S", 0.3)
    served = Served(book)
    host, _, port = served.base.partition("//")[2].partition(":")
    try:
        with socket.create_connection((host, int(port)), timeout=20) as slow:
            slow.sendall(b"GET / HTTP/1.1\r\nHost: ")
            assert slow.recv(100) == b""
        with socket.create_connection((host, int(port)), timeout=20) as large:
            large.sendall(b"GET / HTTP/1.1\r\n")
            with suppress(OSError):  # it is cut off in the middle
                for _ in range(40):
                    large.sendall(b"X-Long: " + b"x" * 8000 + b"\r\n")
                assert b"200" not in large.recv(100)
    finally:
        served.close()


def test_a_zip_that_unpacks_to_far_more_than_its_size_is_refused(page) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("bomb.csv", b"0" * (60 << 20))
        archive.writestr("../../evil.csv", text_of(seed=9))
    assert len(packed.getvalue()) < 1 << 20
    answer = page.post(
        "/drop", files=[("logs", ("card.zip", packed.getvalue()))], follow_redirects=False
    )
    assert answer.status_code == 303
    page.worked()
    bomb, other = page.work.shown()[0].logs
    assert (bomb.status, other.status) == ("failed", "unsure")
    assert "Unpacks to more than 512 megabytes, or to 250 times its size" in bomb.words
    assert not list(page.path.parent.rglob("evil.csv"))


def test_a_script_cannot_be_brought_in_with_a_book(tmp_path, season) -> None:
    """A book of a stranger: its lists and leftovers are no pages and no addresses."""
    shutil.copytree(season, tmp_path / "book")
    strange = tmp_path / "book" / "incoming" / "20260101T000000-00000000"
    strange.mkdir(parents=True)
    (strange / "batch.json").write_text(
        '{"id": "../../x", "came": "x", "begun": true, "cut": false, "logs": []}'
    )
    (tmp_path / "book" / ".page.json").write_text('{"address": "http://evil.example/?key=x"}')
    from telemetry.page.start.serving import running

    assert running(tmp_path / "book") is None
    page = Page(tmp_path / "book", None)
    assert page.work.spool.batches() == []
    assert Logbook(tmp_path / "book").check_book().problems == ()


def test_a_fault_of_the_program_is_a_sentence(looked, monkeypatch) -> None:
    def fail(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("telemetry.page.keeping.known_places", fail)
    answer = looked.get("/aircraft/tern/notes")
    assert answer.status_code == 500
    assert "a fault of the program and not yours" in answer.text
    assert "Traceback" not in answer.text


def test_hosts_of_the_network_are_named_one_by_one(season) -> None:
    door = Door(key=KEY, hosts=frozenset({"192.0.2.7:8417", HOST}), many=True)
    from telemetry.page.app import make_app

    client = TestClient(
        make_app(season, door=door, addresses=("http://192.0.2.7:8417/?key=k",)),
        base_url="http://192.0.2.7:8417",
    )
    assert client.get("/").status_code == 403
    client.cookies.set(door.cookie, KEY)
    text = client.get("/").text
    assert "This page was opened to your network" in words(text)
    assert "<svg" in text.partition('class="qr"')[2]
    assert client.get("/", headers={"host": "192.0.2.8:8417"}).status_code == 403
