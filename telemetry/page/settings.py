"""What the aircraft is made of: asked in questions, checked as ``busbook aircraft check`` does."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from telemetry.aircraft import Aircraft, Lead, infer_path
from telemetry.aircraft.profile import new_profile, set_keys
from telemetry.aircraft.profile.reading import text_errors
from telemetry.book import Logbook
from telemetry.book.files.writing import read_file
from telemetry.model.errors import BusbookError, ProfileError
from telemetry.model.files import MOST_TEXT_BYTES
from telemetry.page.answers import Desk, desk_of, gone, known, one_of, shown, to, ways_of
from telemetry.page.said import said_in
from telemetry.report.words import sentence

_CHEMISTRIES = ("lipo", "liion", "life", "nimh")
_MOST_UNDO = 50
_MOST_OUTPUTS = 99


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One question: the option that answers it, its words, unit, choices and what is known."""

    option: str
    words: str
    unit: str = ""
    choices: tuple[str, ...] = ()
    value: str = ""
    number: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The questions about one part. ``always`` goes with every answer: a servo's output."""

    key: str
    place: str
    title: str
    fields: tuple[Field, ...]
    always: Mapping[str, str]
    problem: str = ""


def settings(request: Request) -> Response:
    """What is it made of?"""
    return _page(request, {}, {})


def _page(
    request: Request,
    given: Mapping[str, str],
    problems: Mapping[str, str],
    *,
    text: str | None = None,
    errors: tuple[ProfileError, ...] = (),
    status: int = 200,
) -> Response:
    desk = desk_of(request)
    book = desk.open()
    name = known(book, request.path_params["name"])
    stored, wrong = _stored(book, name), errors
    if not wrong:
        wrong = text_errors(stored, "profile")
    craft = None if text_errors(stored, "profile") else _craft(book, name)
    asked = [] if craft is None else _questions(craft, given, problems)
    return shown(
        "settings",
        ways_of(name, "settings"),
        said=said_in(desk, book, request),
        status=status,
        name=name,
        asked=asked,
        nodes=[] if craft is None else [n.name for n in craft.nodes],
        problem=problems.get("", ""),
        new_problem=problems.get("new", ""),
        text=stored if text is None else text,
        seal=_seal(stored),
        errors=[
            (e.line, e.column or "", sentence("; ".join(filter(None, (e.what, e.hint)))))
            for e in wrong
        ],
    )


def _stored(book: Logbook, name: str) -> str:
    """The text of the profile, or one begun from the newest flight."""
    path = book.profile_path(name)
    if path.exists():
        return read_file(path)[: MOST_TEXT_BYTES + 1].decode("utf-8", "replace")
    flights = book.flights(name)
    return new_profile(name, book.read(flights[-1].id) if flights else None)


def _seal(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def _seen(book: Logbook, name: str) -> Aircraft | None:
    flights = book.flights(name)
    return infer_path(book.read(flights[-1].id)) if flights else None


def _craft(book: Logbook, name: str) -> Aircraft | None:
    return book.profile(name) or _seen(book, name)


# The questions.


def _questions(
    craft: Aircraft, given: Mapping[str, str], problems: Mapping[str, str]
) -> list[Asked]:
    asked = []
    for n, pack in enumerate(craft.packs):
        fields = (
            _field("chemistry", "What cells are they?", pack.chemistry, choices=_CHEMISTRIES),
            _field("cells", "How many cells in series?", pack.cells),
            _field("capacity", "What capacity is printed on it?", pack.capacity_mah, "mAh"),
            _field(
                "role",
                "Does it share the load, or stand by until the other fails?",
                pack.role,
                choices=("shared", "standby"),
            ),
            *_lead_fields(pack.lead),
        )
        asked.append(_part(f"p{n}", pack.name, fields))
    feeds = [one for one in (craft.root, craft.bus, *(n.name for n in craft.nodes)) if one]
    for n, node in enumerate(craft.nodes):
        others = tuple(o.name for o in craft.nodes if o.name != node.name)
        fields = (
            _field("servos", "How many servos hang on it?", node.servos),
            _field(
                "fed-from",
                "What feeds it?",
                node.fed_from,
                choices=tuple(dict.fromkeys(f for f in feeds if f != node.name)),
            ),
            _field("mirror", "Which is its like on the other side?", node.mirror, choices=others),
            *_lead_fields(node.lead),
        )
        asked.append(_part(f"n{n}", node.name, fields))
    for n, servo in enumerate(craft.servos):
        if servo.until is not None:
            continue
        fields = (
            _field("drives", "Which surface does it drive?", servo.drives, number=False),
            _field("count", "How many like servos on this output?", servo.count),
            _field("stall-a", "Stall current of one, by its data sheet?", servo.stall_a, "A"),
            _field("stall-v", "At which voltage is that given?", servo.stall_v, "V"),
        )
        part = _part(f"s{n}", servo.node, fields, {"output": str(servo.output)})
        asked.append(part)
    return [_with_given(part, given, problems) for part in asked]


def _part(
    key: str, place: str, fields: tuple[Field, ...], always: Mapping[str, str] | None = None
) -> Asked:
    output = (always or {}).get("output")
    title = place if output is None else f"{place}, output {output}"
    return Asked(key=key, place=place, title=title, fields=fields, always=always or {})


def _field(
    option: str,
    words: str,
    value: object,
    unit: str = "",
    *,
    choices: tuple[str, ...] = (),
    number: bool = True,
) -> Field:
    shown_value = "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
    return Field(
        option=option, words=words, unit=unit, choices=choices, value=shown_value, number=number
    )


def _lead_fields(lead: Lead | None) -> tuple[Field, ...]:
    return (
        _field("length", "How long is its lead, one way?", lead and lead.length_m, "m"),
        _field("awg", "Which wire gauge?", lead and lead.awg, "AWG"),
        _field("mm2", "Or which copper cross-section?", lead and lead.mm2, "mm2"),
    )


def _with_given(part: Asked, given: Mapping[str, str], problems: Mapping[str, str]) -> Asked:
    """The questions with what was typed, and what is wrong with it."""
    fields = tuple(
        Field(
            option=f.option,
            words=f.words,
            unit=f.unit,
            choices=f.choices,
            number=f.number,
            value=given.get(f"{part.key}.{f.option}", f.value),
        )
        for f in part.fields
    )
    return Asked(
        key=part.key,
        place=part.place,
        title=part.title,
        fields=fields,
        always=part.always,
        problem=problems.get(part.key, ""),
    )


# The answers.


def save(request: Request, form: Mapping[str, Any]) -> Response:
    """Write what was answered, all of it or nothing."""
    desk = desk_of(request)
    book = desk.open()
    name = known(book, request.path_params["name"])
    craft = _craft(book, name)
    if craft is None or text_errors(_stored(book, name), "profile"):
        return _page(request, {}, {}, status=400)
    given = {key: one_of(form, key, 100) for key in form if isinstance(key, str)}
    changes: list[tuple[str, str, dict[str, str]]] = []
    problems: dict[str, str] = {}
    for part in _questions(craft, {}, {}):
        options = {}
        for f in part.fields:
            new = given.get(f"{part.key}.{f.option}", f.value)
            if new == f.value:
                continue
            if not new:
                problems[part.key] = (
                    f"An answer that was given cannot be emptied here ({f.words.rstrip('?')}); "
                    "take its line out of the text below."
                )
            options[f.option] = new.replace(",", ".") if f.number and not f.choices else new
        if options:
            changes.append((part.key, part.place, {**part.always, **options}))
    new_servo = _new_servo(given)
    if new_servo is not None:
        changes.append(new_servo)
    seen = _seen(book, name)
    text = start = _stored(book, name)
    for key, place, options in changes if not problems else ():
        try:
            text = set_keys(text, [place], options, path="profile", seen=seen)
        except BusbookError as error:
            problems[key] = sentence("; ".join(filter(None, (error.what, error.hint))))
    if problems:
        return _page(request, given, problems, status=400)
    return _saved(desk, book, name, start, text)


def _new_servo(given: Mapping[str, str]) -> tuple[str, str, dict[str, str]] | None:
    node, output, drives = (given.get(f"new.{key}", "") for key in ("node", "output", "drives"))
    if not node or not (output or drives):
        return None
    return "new", node, {"output": output, "drives": drives}


def save_text(request: Request, form: Mapping[str, Any]) -> Response:
    """Write the whole text of the profile, if nothing is wrong with it."""
    desk = desk_of(request)
    book = desk.open()
    name = known(book, request.path_params["name"])
    value = form.get("text", "")
    text = value.replace("\r\n", "\n") if isinstance(value, str) else ""
    start = _stored(book, name)
    if one_of(form, "seal") != _seal(start):
        what = "The profile was changed meanwhile, by another page or program; look at it again."
        return _page(request, {}, {"": what}, text=text, status=409)
    if len(text.encode()) > MOST_TEXT_BYTES:
        what = f"This is larger than any profile ({MOST_TEXT_BYTES // 1000} kilobytes at most)."
        return _page(request, {}, {"": what}, status=400)
    errors = text_errors(text, "profile")
    if errors:
        return _page(request, {}, {}, text=text, errors=errors, status=400)
    return _saved(desk, book, name, start, text)


def undo(request: Request, form: Mapping[str, Any]) -> Response:
    """Write a profile as it was before the page changed it."""
    desk = desk_of(request)
    before = desk.undo.pop(one_of(form, "token"), None)
    if before is None:
        return gone("/")
    book = desk.open()
    name, old = before
    return _saved(desk, book, name, _stored(book, name), old.decode())


def _saved(desk: Desk, book: Logbook, name: str, start: str, text: str) -> Response:
    if text == start and book.profile_path(name).exists():
        return gone(to("aircraft", name, "settings"))

    def change(old: bytes | None) -> bytes:
        if old is not None and old.decode("utf-8", "replace") != start:
            raise ProfileError("another program has just changed these settings", hint="try again")
        return text.encode()

    book.change_profile(name, change)
    token = secrets.token_urlsafe(12)
    desk.undo[token] = (name, start.encode())
    while len(desk.undo) > _MOST_UNDO:
        del desk.undo[next(iter(desk.undo))]
    return gone(to("aircraft", name, "settings", did=f"profile:{token}"))
