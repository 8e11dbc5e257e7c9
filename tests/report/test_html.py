from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any

import numpy as np
import pytest

from telemetry.model.channels import Quantity
from telemetry.report.documents.index import entry_of, worst_first
from telemetry.report.documents.of_review import document_of
from telemetry.report.draw import Scene
from telemetry.report.output import to_html
from telemetry.report.parts.method import CAUTIONS
from telemetry.report.writers import html
from telemetry.report.writers.around import Around
from telemetry.report.writers.json import review_document
from telemetry.report.writers.policy import content_policy
from telemetry.results import Finding, Level, Mark, Review

VOID = {"meta", "link", "br", "img", "hr", "input"}


class Page(HTMLParser):
    """Tags, attributes and texts of a page; fails where tags do not close in order."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in ("script", "style"):
            self.texts.append(data)

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.texts).split())


@pytest.fixture(scope="module")
def text(review: Review) -> str:
    return to_html(review)


@pytest.fixture(scope="module")
def page(text: str) -> Page:
    return Page(text)


def payload(text: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="timeline-data">(.*?)</script>', text)
    assert found
    data: dict[str, Any] = json.loads(found[1])
    return data


def unpack(data: dict[str, Any], trace: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    clock = data["clocks"][trace["clock"]]
    steps = np.frombuffer(base64.b64decode(clock["steps"]), dtype="<u2")
    counts = np.frombuffer(base64.b64decode(trace["values"]), dtype="<i2").astype(float)
    counts[counts == -32768] = np.nan
    return clock["start"] + np.cumsum(steps) / 1000, trace["base"] + trace["step"] * counts


def test_nothing_is_fetched(page: Page, text: str) -> None:
    for tag, attributes in page.tags:
        assert tag not in ("link", "img", "iframe", "object", "embed", "base", "audio", "video")
        for name, value in attributes.items():
            if name in ("src", "href", "xlink:href", "action", "srcset", "poster"):
                assert (value or "").startswith("#"), (tag, name, value)
    assert not re.search(r"@import|url\(\s*['\"]?(?!#)", text)
    for url in re.findall(r"https?://[^\s\"'<)]+", text):
        # A namespace is a name: nothing is loaded from it.
        assert url == "http://www.w3.org/2000/svg"


def test_the_policy_allows_the_page_its_own_style_and_script_alone(text: str, page: Page) -> None:
    (policy,) = (
        a["content"] or ""
        for tag, a in page.tags
        if tag == "meta" and a.get("http-equiv") == "Content-Security-Policy"
    )
    rules = dict(rule.split(" ", 1) for rule in policy.split("; "))
    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == "'none'"
    assert rules["img-src"] == "data:"
    for kind, rule in (("style", "style-src"), ("script", "script-src")):
        found = re.findall(rf"<{kind}>(.*?)</{kind}>", text, re.DOTALL)
        # CSP level 3, 2.3.1: base64 of the SHA-256 of the element's text.
        hashes = [base64.b64encode(hashlib.sha256(t.encode()).digest()).decode() for t in found]
        assert rules[rule] == " ".join(f"'sha256-{h}'" for h in hashes)
    for tag, attributes in page.tags:
        assert not [n for n in attributes if n == "style" or n.startswith("on")], (tag, attributes)


def test_a_server_sends_the_same_policy_and_lets_forms_come_home(review: Review, text: str) -> None:
    with_policy = text.splitlines()
    without = html.render(document_of(review), Scene.of(review), Around()).splitlines()
    assert [line for line in with_policy if line not in without] == [
        line for line in with_policy if "Content-Security-Policy" in line
    ]
    saved, served = ({*content_policy(["a"], ["b"], served=s).split("; ")} for s in (False, True))
    assert saved - served == {"form-action 'none'"}
    assert served - saved == {
        "form-action 'self'", "connect-src 'self'", "frame-ancestors 'none'"
    }  # fmt: skip


def test_marks_stand_in_timeline_and_table_and_are_harmless(make_review: Any) -> None:
    words = "<b>thud</b> & \x1b[2J\u202e"
    marked = make_review(marks=(Mark(time_s=62.5, text=words), Mark(time_s=63.0, text="then calm")))
    text = to_html(marked)
    page = Page(text)
    assert "<b>thud" not in text
    assert "\x1b" not in text
    assert payload(text)["marks"][0][0] == 62.5
    assert payload(text)["marks"][0][1].startswith("<b>thud</b> &")
    assert payload(text)["marks"][1] == [63.0, "then calm"]
    assert "Moments that were marked No. At Words 1 01:02 <b>thud</b> &" in page.words
    assert "M2 then calm" in page.words
    assert len(re.findall('data-part="marked-name-2"', text)) == 2
    told = review_document(marked)["marks"]
    assert [m["time_s"] for m in told] == [62.5, 63.0]
    assert told[0]["text"] == words
    assert [*marked.tables["marks"].columns] == ["time_s", "text"]


def test_ids_are_unique_and_every_reference_has_its_target(page: Page, text: str) -> None:
    ids = [a["id"] for _, a in page.tags if "id" in a]
    assert len(ids) == len(set(ids))
    wanted = {a["href"][1:] for _, a in page.tags if (a.get("href") or "").startswith("#")}  # type: ignore[index]
    wanted |= set(re.findall(r"url\(#([^)$]+)\)", text))
    assert wanted <= set(ids)
    labelled = {a["aria-labelledby"] for _, a in page.tags if "aria-labelledby" in a}
    assert labelled <= set(ids)


def test_the_first_screen_has_the_answer(page: Page) -> None:
    head = page.words[: page.words.index("Findings")]
    for part in (
        *("Tern (invented)", "14 May 2026, 10:32. One flight", "evening.csv", "Ground it"),
        *("The left wing lost 1.33 V for 0.6 s", "2 more below", "Before the next flight"),
        *("Left wing: clean or replace the left panel connector", "Lowest voltage 4.60 V"),
        *("left wing, in flight, at 08:42", "Highest current", "Charge used 1503 mAh"),
        *("Margin to restart 1.10 V", "More flights like this 1"),
        "Your usual checks before flight remain",
    ):
        assert part in head, part


def test_sections_come_in_order_and_end_with_the_cautions(page: Page) -> None:
    anchors = [a["id"] for tag, a in page.tags if tag == "section" and a.get("class") == "part"]
    assert anchors == [
        *(
            "findings",
            "next-flight",
            "checked",
            "places",
            "stirs",
            "events",
            "resistances",
            "charge",
            "servos",
        ),
        *("quality", "limits", "method", "cautions"),
    ]
    for caution in CAUTIONS:
        assert caution in page.words


def test_it_never_says_safe(text: str, bare_review: Review) -> None:
    for shown in (text, to_html(bare_review)):
        assert not re.search(r"\bsafe", Page(shown).words, re.IGNORECASE)


def test_every_limit_in_force_is_printed_with_its_source(page: Page, review: Review) -> None:
    part = page.words[page.words.index("The limits in force") :]
    for name, field in type(review.limits).model_fields.items():
        text = (field.description or name).rpartition(" (")[0]
        assert text[1:] in part, name
    assert "common practice, no source; set it from the data sheet" in part
    assert "after IEC 61000-4-30" in part


def test_every_column_is_listed_as_it_was_read(page: Page, review: Review) -> None:
    for use in review.columns:
        assert use.column in page.words


def test_levels_are_told_by_word_and_by_shape(text: str) -> None:
    signs = re.findall(r'<svg class="sign".*?</svg>', text, re.DOTALL)
    words = re.findall(r'<p class="level">([^<]+?) ?(?:<span|</p>)', text)
    assert words == ["Ground it", "Watch", "Cannot be judged"]
    # The first sign is the verdict's: it is that of the worst finding.
    assert signs[0] == signs[1]
    assert len(set(signs[1:])) == 3


def test_each_finding_has_its_proof(text: str) -> None:
    articles = re.findall(r'<article class="finding.*?</article>', text, re.DOTALL)
    assert [a.count("<figure") for a in articles] == [1, 1, 0]
    assert 'data-from="522.0" data-to="522.6"' in articles[0]


def test_every_picture_can_be_read_out(page: Page) -> None:
    for tag, attributes in page.tags:
        if tag == "svg":
            assert attributes.get("aria-hidden") == "true" or attributes.get("aria-label")


def test_text_in_figures_is_text(text: str) -> None:
    svgs = re.findall(r'<svg viewBox="[^"]*" role="img".*?</svg>', text, re.DOTALL)
    assert len(svgs) >= 8
    for svg in svgs:
        assert "<text" in svg
    assert "voltage (V)" in svgs[0]
    assert "<metadata" not in text
    assert "<style type" not in "".join(svgs)


def test_a_rerun_gives_the_same_bytes(review: Review, text: str) -> None:
    assert to_html(review) == text


def test_the_time_of_making_is_not_in_it(text: str) -> None:
    assert not re.search(r"20\d\d-\d\d-\d\dT", text)


EVIL = "<script>alert(1)</script><b>\"'&{{7*7}}"


def test_everything_from_the_data_is_escaped(make_review: Callable[..., Review]) -> None:
    base = make_review(seconds=900.0, file=f"{EVIL}.csv")
    renamed = {"left wing": f"left wing {EVIL}"}
    channels = tuple(
        replace(c, place=renamed.get(c.place or "", c.place), column=f"{EVIL}{c.column}")
        for c in base.log.channels
    )
    flight = base.flights[0]

    def named(records: Any) -> Any:
        return tuple(replace(r, place=renamed.get(r.place, r.place)) for r in records)

    review = replace(
        base,
        log=replace(base.log, channels=channels),
        aircraft=base.aircraft.model_copy(update={"name": EVIL}),
        columns=tuple(replace(c, column=EVIL, reason=EVIL, unit=EVIL) for c in base.columns),
        flights=(
            replace(
                flight,
                events=named(flight.events),
                margins=named(flight.margins),
                resistances=named(flight.resistances),
                stirs=tuple(replace(s, places=named(s.places)) for s in flight.stirs),
            ),
        ),
        findings=(
            Finding(
                code=EVIL,
                level=Level.GROUND,
                place=f"left wing {EVIL}",
                title=EVIL,
                evidence={EVIL: EVIL},
                explanations=(EVIL,),
                confirm=EVIL,
                advice=EVIL,
                start_s=522.0,
            ),
        ),
    )
    text = to_html(review)
    page = Page(text)
    tags = [tag for tag, _ in page.tags]
    assert tags.count("script") == 2
    assert "b" not in tags
    assert "alert(1)" in page.words
    assert "{{7*7}}" in page.words
    data = payload(text)
    assert any(EVIL in e[2] for e in data["events"])
    assert not any(name.startswith("on") for _, a in page.tags for name in a)


def test_the_readings_that_travel_are_those_of_the_log(text: str, review: Review) -> None:
    data = payload(text)
    assert len(data["traces"]) == 12
    for quantity in (Quantity.VOLTAGE, Quantity.CURRENT):
        found = [t for t in data["traces"] if t["quantity"] == quantity]
        for r in review.readings.of(quantity):
            matches = [
                (t, v)
                for t, v in (unpack(data, one) for one in found)
                if v.size == r.size and np.allclose(v, r.v, atol=1e-9)
            ]
            assert matches, r.place
            assert np.allclose(matches[0][0], r.t, atol=0.0006)


def test_a_long_log_is_thinned_but_keeps_its_lowest(make_review: Callable[..., Review]) -> None:
    review = make_review(seconds=4000.0)
    text = to_html(review)
    assert len(text.encode()) < 1_500_000
    data = payload(text)
    volts = [unpack(data, t)[1] for t in data["traces"] if t["quantity"] == "voltage"]
    assert all(v.size < 12_000 for v in volts)
    lows = [float(np.nanmin(v)) for v in volts]
    assert 4.6 in [round(v, 9) for v in lows]


def test_silences_longer_than_a_minute_keep_their_times(make_review: Callable[..., Review]) -> None:
    review = make_review(seconds=900.0)
    frame = review.log.frame.drop(review.log.frame.index[2000:5000])
    data = payload(to_html(make_review(log=replace(review.log, frame=frame))))
    t, v = unpack(data, data["traces"][0])
    assert t[-1] == pytest.approx(899.9)
    hole = (t > 200.0) & (t < 500.0)
    assert np.isnan(v[hole]).all()
    assert np.isfinite(v[~hole]).all()


def test_a_bare_log_gives_a_whole_page_without_a_timeline(bare_review: Review) -> None:
    text = to_html(bare_review)
    page = Page(text)
    assert "Nothing found in this log" in page.words
    assert "not measured" in page.words
    assert "timeline-data" not in text
    assert not [tag for tag, _ in page.tags if tag == "script"]


def test_clear_says_so_and_gives_no_leave(make_review: Callable[..., Review]) -> None:
    page = Page(to_html(make_review(seconds=300.0, findings=())))
    assert "Nothing found in this log" in page.words
    assert "does not clear the aircraft to fly" in page.words
    assert "Nothing in this log asks for a particular check." in page.words


def test_it_is_small(text: str) -> None:
    assert len(text.encode("utf-8")) < 1_500_000


def test_the_index_puts_the_worst_first_and_lists_what_failed(
    review: Review, bare_review: Review
) -> None:
    entries = [
        entry_of(bare_review, document_of(bare_review), "bare log.html"),
        entry_of(review, document_of(review), "evening.html"),
    ]
    shown = html.render_index(entries, [f"broken.csv: {EVIL}"])
    page = Page(shown)
    links = [a["href"] for tag, a in page.tags if tag == "a"]
    assert links == ["evening.html", "bare%20log.html"]
    assert page.words.startswith("2 logs reviewed: 1 to ground, 1 with nothing found")
    assert page.words.index("Ground it") < page.words.index("Nothing found in this log")
    assert [tag for tag, _ in page.tags if tag == "script"] == []
    signs = re.findall(r'<svg class="sign".*?</svg>', shown, re.DOTALL)
    assert len(set(signs)) == 2, "level by shape as well as by word"
    assert "Could not be reviewed" in page.words
    assert "alert(1)" in page.words
    for caution in CAUTIONS:
        assert caution in page.words


def test_within_a_level_the_index_puts_the_newest_first(review: Review) -> None:
    entry = entry_of(review, document_of(review))
    days = ["2026-05-01T10:00:00", "", "2026-05-03", "2026-05-01T18:00:00"]
    told = [e.start for e in worst_first([replace(entry, start=day) for day in days])]
    assert told == ["2026-05-03", "2026-05-01T18:00:00", "2026-05-01T10:00:00", ""]
