"""Names from anybody's file stay names in every report: no markup, no script, no picture."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass, replace
from html.parser import HTMLParser
from typing import Any

import pytest

from telemetry.aircraft import Aircraft
from telemetry.circuit.budget import budget
from telemetry.report.documents.index import entry_of
from telemetry.report.documents.of_budget import budget_document, picture_of_budget
from telemetry.report.documents.of_history import history_document as history_page
from telemetry.report.documents.of_review import document_of
from telemetry.report.draw import PathScene
from telemetry.report.output import to_html
from telemetry.report.writers import html
from telemetry.report.writers.json import document, dumps, history_document
from telemetry.report.writers.terminal import text_of
from telemetry.results import History, Review

# Ways out of text, attributes, style and script elements and comments, and of a template.
EVIL = (
    "<script>alert(1)</script><img src=x onerror=alert(2)><svg onload=alert(3)>\"'><marquee>"
    "&{{7*7}}</svg></style>]]>--><a href=javascript:alert(4)>"
)
# What moves a cursor, sets a title, writes to the clipboard, turns the direction of reading.
STEERING = "\x1b[2J\x1b]0;x\x07\x1b]52;c;eA==\x07\x9b31m\r\x08\u202e\u2066"
# Free text of records; all other strings are words of the program.
FREE = {
    "aircraft", "advice", "column", "confirm", "drives", "explanations", "file", "label",
    "message", "name", "notes", "other", "outputs", "parent", "place", "reason", "servo", "text",
    "title", "where", "wire",
}  # fmt: skip


class Page(HTMLParser):
    """Every tag with its attributes."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    handle_startendtag = handle_starttag

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def poisoned(value: Any, poison: str, name: str = "") -> Any:
    """The same record with the poison behind every free text in it."""
    if is_dataclass(value) and not isinstance(value, type):
        init = [f.name for f in fields(value) if f.init]
        parts = {n: poisoned(getattr(value, n), poison, n) for n in init}
        return replace(value, **parts)
    if isinstance(value, Aircraft):
        return Aircraft.model_validate(craft(value.model_dump(), poison))
    if type(value) is str:
        return value + poison if name in FREE and value else value
    if isinstance(value, tuple | list):
        return type(value)(poisoned(v, poison, name) for v in value)
    if type(value) is dict and name == "evidence":
        return {k + poison: poisoned(v, poison, "text") for k, v in value.items()}
    return value


def craft(value: Any, poison: str, name: str = "") -> Any:
    """As :func:`poisoned`, for the plain values of a profile."""
    if isinstance(value, dict):
        return {k: craft(v, poison, k) for k, v in value.items()}
    if isinstance(value, tuple | list):
        return [craft(v, poison, name) for v in value]
    text = ("name", "bus", "regulator", "fed_from", "mirror", "node", "drives", "label")
    return value + poison if name in text and isinstance(value, str) else value


def craft_of(poison: str) -> Aircraft:
    lead = {"awg": 20, "length_m": 1.2, "connectors": [{"kind": "panel", "pins": 2}]}
    plain = {
        "name": "curlew",
        "bus": "bus",
        "packs": [
            {"name": f"pack {n}", "chemistry": "lipo", "cells": 2, "capacity_mah": 3000,
             "labels": [{"label": f"L{n}"}]}
            for n in (1, 2)
        ],
        "nodes": [
            {"name": f"{side} wing", "fed_from": "bus", "mirror": f"{other} wing", "lead": lead}
            for side, other in (("left", "right"), ("right", "left"))
        ],
        "servos": [
            {"node": "left wing", "output": 1, "drives": "left aileron", "moving_a": 9.0},
        ],
    }  # fmt: skip
    return Aircraft.model_validate(craft(plain, poison))


def budget_page(poison: str) -> str:
    aircraft = craft_of(poison)
    made = budget(aircraft)
    shown = budget_document(made, aircraft, 0, f"curlew{poison}.toml")
    return html.page(shown, PathScene(picture_of_budget(made, aircraft)))


def pages(review: Review, history: History, poison: str) -> Iterator[tuple[str, str]]:
    evil = poisoned(review, poison)
    yield "review", to_html(evil)
    yield "history", to_html(poisoned(history, poison))
    yield "budget", budget_page(poison)
    yield (
        "index",
        html.render_index(
            [entry_of(evil, document_of(evil), f"a{poison}.html")], [f"b{poison}: no log."]
        ),
    )


@pytest.fixture(scope="module")
def small(make_review: Callable[..., Review]) -> Review:
    return make_review(seconds=600.0)


# Elements that a page has of its own; all others of these kinds would come from a name.
OWN = {"review": {"script": 2, "style": 1}, "history": {"style": 1}, "budget": {"style": 1}}
OWN["index"] = {"style": 1}
KINDS = ("script", "style", "img", "iframe", "object", "form", "base", "link", "marquee")


def test_no_text_of_a_file_becomes_markup(small: Review, history: History) -> None:
    for name, text in pages(small, history, EVIL):
        page = Page(text)
        assert "alert(1)" in " ".join(page.words), f"{name}: nothing was planted"
        found = {tag: n for tag in KINDS if (n := [t for t, _ in page.tags].count(tag))}
        assert found == OWN[name], name
        for tag, attributes in page.tags:
            assert not any(a.startswith("on") for a in attributes), (name, tag, attributes)
            for key in ("href", "src", "xlink:href", "action", "style"):
                value = (attributes.get(key) or "").strip().lower()
                assert not value.startswith(("javascript:", "data:")), (name, tag, attributes)
                assert not set("<>\"' ") & set(value if key != "style" else ""), (name, tag, value)
        drawn = re.findall(r'<svg viewBox="[^"]*" role="img".*?</svg>', text, re.DOTALL)
        assert any("alert(1)" in svg for svg in drawn) or name == "index", name
        if name == "review":
            the_data_cannot_end_its_script_element(text)


def the_data_cannot_end_its_script_element(text: str) -> None:
    head, rest = text.split('<script type="application/json" id="timeline-data">')
    assert "<script" not in head
    data = json.loads(rest[: rest.index("</script>")])
    assert any(EVIL in event[2] for event in data["events"])


def test_no_text_of_a_file_steers_the_terminal(small: Review, history: History) -> None:
    aircraft = craft_of(STEERING)
    texts = (
        text_of(document_of(poisoned(small, STEERING))),
        text_of(history_page(poisoned(history, STEERING))),
        text_of(budget_document(budget(aircraft), aircraft, 0, f"curlew{STEERING}.toml")),
    )
    for text in texts:
        assert "?[2J" in text, "nothing was planted"
        for line in text.split("\n"):
            assert line.isprintable(), repr(line)


def test_json_holds_the_names_as_they_are_and_no_control_character(
    small: Review, history: History
) -> None:
    poison = EVIL + STEERING
    for content in (
        document([poisoned(small, poison)]),
        history_document(poisoned(history, poison)),
    ):
        text = dumps(content)
        assert (
            poison
            in json.dumps(json.loads(text), ensure_ascii=False)
            .encode()
            .decode("unicode_escape", "ignore")
            or json.dumps(poison)[1:-1] in text
        )
        assert text.isascii()
        assert text.replace("\n", "").isprintable()
