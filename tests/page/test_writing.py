"""What the page writes: the same as the commands, said afterwards, and taken back there."""

from __future__ import annotations

import re
from html import unescape

from click.testing import CliRunner

from telemetry.app.histories import history
from telemetry.book import Logbook
from telemetry.cli import main
from tests.page.test_looking import words


def button(text: str, label: str) -> tuple[str, list[tuple[str, str]]]:
    """Where the form with a button leads, and its fields."""
    form = next(f for f in re.findall(r"<form.*?</form>", text, re.DOTALL) if f">{label}<" in f)
    action = unescape(re.search(r'action="([^"]*)"', form)[1])
    fields = re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)"', form)
    return action, [(k, unescape(v)) for k, v in fields]


def press(page, text: str, label: str):
    action, fields = button(text, label)
    data: dict[str, list[str]] = {}
    for key, value in fields:
        data.setdefault(key, []).append(value)
    return page.post(action, data)


def opened(page) -> list[tuple[str, str | None]]:
    """Level and place of every open finding."""
    return [(str(f.level), f.place) for f in history(page.book, "tern").open]


def test_a_note_says_what_it_closes_before_it_is_kept_and_is_taken_back(page) -> None:
    before = opened(page)
    assert ("ground", "bus") in before
    asked = page.get(
        "/aircraft/tern/note", params={"place": "bus", "kind": "repaired", "text": "new plug"}
    )
    told = words(asked.text)
    assert re.search(r"It closes \d+ finding", told)
    assert page.book.notes("tern") == (), "nothing is written yet"
    after = press(page, asked.text, "Keep the note")
    assert after.url.path == "/aircraft/tern"
    told = words(after.text)
    assert "note 1 of " in told
    assert "repaired, bus: new plug" in told
    assert "The baseline of bus begins anew" in told
    assert [(n.kind, n.place, n.text) for n in page.book.notes("tern")] == [
        ("repaired", "bus", "new plug")
    ]
    assert ("ground", "bus") not in opened(page)
    back = press(page, after.text, "Take the note back")
    assert "Taken out of the book, and kept aside: tern, note" in words(back.text)
    assert opened(page) == before
    again = press(page, back.text, "Put it back")
    assert "Back in the book: tern, note" in words(again.text)
    assert len(page.book.notes("tern")) == 1


def test_a_note_that_is_none_is_asked_about_in_place(page) -> None:
    for given, told in (
        ({"place": "bus", "kind": "repaired", "text": ""}, "The note is empty."),
        ({"place": "moon", "kind": "repaired", "text": "x"}, "'tern' has no place 'moon'."),
        ({"place": "bus", "kind": "magic", "text": "x"}, "'magic' is no kind of note."),
        ({"place": "bus", "kind": "checked", "text": "x", "on": "2999-01-01"}, "2999"),
    ):
        for answer in (
            page.get("/aircraft/tern/note", params=given),
            page.post("/aircraft/tern/notes", given),
        ):
            assert answer.status_code == 400
            assert told in words(answer.text), words(answer.text)[:300]
    assert page.book.notes("tern") == ()


def test_a_flight_is_taken_out_and_put_back(page) -> None:
    flight = page.book.flights("tern")[1]
    text = page.get("/aircraft/tern/flights/2/change").text
    after = press(page, text, "Take it out")
    assert f"kept aside: tern 2, 2026-05-02, {flight.file}" in words(after.text).replace(
        "tern, ", "tern 2, "
    )
    assert len(page.book.flights("tern")) == 2
    assert flight.file in page.get("/aircraft/tern/notes").text
    press(page, after.text, "Put it back")
    assert len(page.book.flights("tern")) == 3


def test_a_moment_is_marked_where_the_flight_is_shown_and_taken_back(page) -> None:
    here = "/aircraft/tern/flights/2"
    action, fields = button(page.get(here).text, "Mark it")
    assert (action, fields) == (f"{here}/marks", [])
    evil = "thud <script>x</script>"
    after = page.post(action, {"at": "0:01.5", "text": evil})
    assert after.url.path == here
    (mark,) = page.book.marks(page.book.flights("tern")[1].id)
    assert (mark.at_s, mark.text) == (1.5, evil)
    assert f"at 00:01: {evil}." in words(after.text)
    assert "Moments that were marked" in after.text
    assert evil not in after.text
    gone = press(page, after.text, "Take the mark back")
    assert page.book.marks() == ()
    assert "Taken out of the book, and kept aside: mark of flight" in words(gone.text)
    assert "Moments that were marked" not in page.get(here).text
    press(page, gone.text, "Put it back")
    assert page.book.marks() == (mark,)
    for given, told in (
        ({"at": "soon", "text": "x"}, "'soon' is no time."),
        ({"at": "1", "text": ""}, "A mark needs words."),
        ({"at": "99:00", "text": "x"}, "The flight has no moment at 5940 s"),
    ):
        answer = page.post(action, given)
        assert answer.status_code == 400
        assert told in words(answer.text)


def test_a_flight_is_given_to_another_and_back(page) -> None:
    flight = page.book.flights("tern")[0]
    moved = page.post("/move", {"what": flight.id, "to": "Sea Eagle"})
    assert moved.url.path == "/aircraft/sea%20eagle" or moved.url.path == "/aircraft/sea eagle"
    assert "Moved to sea eagle: sea eagle 1, 2026-05-01" in words(moved.text)
    assert [f.id for f in page.book.flights("sea eagle")] == [flight.id]
    back = press(page, moved.text, "Give it back to tern")
    assert back.url.path == "/aircraft/tern"
    assert len(page.book.flights("tern")) == 3


def test_the_page_and_a_command_write_the_same(page) -> None:
    page.post("/aircraft/gull/notes", {"kind": "checked", "place": "bus", "text": "by page"})
    args = ["note", "gull", "by command", "--kind", "checked", "--place", "bus", "--yes"]
    done = CliRunner().invoke(main, [*args, "--book", str(page.path)])
    assert done.exit_code == 0, done.output
    by_page, by_command = (n.document() for n in page.book.notes("gull"))
    own = ("id", "text", "date", "made", "order")
    assert {k: v for k, v in by_page.items() if k not in own} == {
        k: v for k, v in by_command.items() if k not in own
    }
    assert Logbook(page.path).check_book().problems == ()
    listed = words(page.get("/aircraft/gull/notes").text)
    assert "by page" in listed
    assert "by command" in listed


# Settings.


def test_an_answer_changes_one_line_of_the_profile_and_is_taken_back(page) -> None:
    path = page.book.profile_path("tern")
    before = path.read_text()
    text = page.get("/aircraft/tern/settings").text
    names = re.findall(r'name="(n\d+\.servos)"', text)
    assert names
    after = page.post("/aircraft/tern/settings", {names[0]: "3"})
    assert after.status_code == 200
    assert "The settings of tern are saved" in words(after.text)
    changed = page.book.profile("tern")
    assert changed is not None
    assert 3 in [n.servos for n in changed.nodes]
    fresh = [line for line in path.read_text().splitlines() if line not in before.splitlines()]
    assert fresh == ["servos = 3"]
    press(page, after.text, "Take the change back")
    assert path.read_text() == before


def test_what_is_wrong_stands_at_its_question_and_nothing_is_saved(page) -> None:
    before = page.book.profile_path("tern").read_text()
    text = page.get("/aircraft/tern/settings").text
    (name, *_) = re.findall(r'name="(n\d+\.servos)"', text)
    (length, *_) = re.findall(r'name="(n\d+\.length)"', text)
    answer = page.post("/aircraft/tern/settings", {name: "-4", length: "0.8"})
    assert answer.status_code == 400
    part = next(
        f for f in re.findall(r"<fieldset>.*?</fieldset>", answer.text, re.DOTALL) if name in f
    )
    assert 'class="problem"' in part
    assert 'value="-4"' in part, "what was typed is still there"
    assert page.book.profile_path("tern").read_text() == before
    lead = page.post("/aircraft/tern/settings", {length: "0.8"})
    assert "a lead needs either awg or mm2" in words(lead.text).lower()


def test_a_servo_is_added(page) -> None:
    page.post(
        "/aircraft/tern/settings",
        {"new.node": "left wing", "new.output": "1", "new.drives": "left aileron"},
    )
    profile = page.book.profile("tern")
    assert profile is not None
    assert [(s.node, s.output, s.drives) for s in profile.servos] == [
        ("left wing", 1, "left aileron")
    ]
    wrong = page.post("/aircraft/tern/settings", {"new.node": "left wing", "new.output": "x"})
    assert wrong.status_code == 400
    assert "--output x is no number" in words(wrong.text).lower()


def test_the_text_is_saved_whole_or_not_at_all(page) -> None:
    text = page.get("/aircraft/tern/settings").text
    seal = re.search(r'name="seal" value="([0-9a-f]+)"', text)[1]
    stored = page.book.profile_path("tern").read_text()
    wrong = page.post(
        "/aircraft/tern/settings/text", {"text": f"{stored}\nbuss = 1\n", "seal": seal}
    )
    assert wrong.status_code == 400
    assert re.search(r"Line \d+, key [\w.]*buss", words(wrong.text))
    assert page.book.profile_path("tern").read_text() == stored
    new = f"{stored}\n# by hand\n".replace("\n", "\r\n")
    assert page.post("/aircraft/tern/settings/text", {"text": new, "seal": seal}).status_code == 200
    assert page.book.profile_path("tern").read_text() == f"{stored}\n# by hand\n"
    late = page.post("/aircraft/tern/settings/text", {"text": stored, "seal": seal})
    assert late.status_code == 409
    assert "was changed meanwhile" in words(late.text)
