"""Read and check a profile; every error names file, line, key and what is allowed."""

from __future__ import annotations

import re
import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from telemetry.aircraft import Aircraft
from telemetry.aircraft.profile.checking import path_problems, suggestion
from telemetry.aircraft.profile.keylines import KeyPath, key_lines
from telemetry.aircraft.profile.partial import path_problems_of_rest
from telemetry.model.errors import ProfileError
from telemetry.model.files import MOST_TEXT_BYTES, read_small_text, toml_of

#: Version of the profile's keys that this program writes. It reads this one and all before it;
#: a profile that does not say has the first.
VERSION = 1

# Set by the program, not by the user: no keys of a profile.
_NOT_IN_A_FILE = ("inferred", "added")
# What of a wrong value is repeated to the user.
_LONGEST_NUMBER, _LONGEST_WORD = 10**15, 80


def read_profile(path: str | Path) -> Aircraft:
    """Read an aircraft's profile.

    Parameters
    ----------
    path : path
        A TOML file; :func:`telemetry.aircraft.profile.new_profile` makes one with comments.

    Returns
    -------
    Aircraft
        With all its dates; ``Aircraft.on`` gives the state of one day.

    Raises
    ------
    ProfileError
        For the first thing wrong, with file, line, key and what is allowed.
    """
    aircraft, errors = _read(Path(path))
    if aircraft is None or errors:
        raise errors[0]
    return aircraft


def profile_errors(path: str | Path) -> tuple[ProfileError, ...]:
    """Everything wrong with a profile, in the order of its lines; empty where it is sound."""
    return tuple(_read(Path(path))[1])


def text_errors(text: str, path: str | Path) -> tuple[ProfileError, ...]:
    """Everything wrong with the text of a profile, as :func:`profile_errors`; ``path`` names it."""
    return tuple(_parse(text, Path(path))[1])


def _read(path: Path) -> tuple[Aircraft | None, list[ProfileError]]:
    try:
        return _parse(read_small_text(path), path)
    except UnicodeDecodeError as error:
        bad = ProfileError("this is no UTF-8 text", path=path, hint="save it as UTF-8")
        bad.__cause__ = error
        return None, [bad]
    except OSError as error:
        what = f"the profile cannot be read ({error.strerror or error})"
        most = f"check the path; a profile has at most {MOST_TEXT_BYTES // 1000} kilobytes"
        return None, [ProfileError(what, path=path, hint=most)]


def _parse(text: str, path: Path) -> tuple[Aircraft | None, list[ProfileError]]:
    try:
        data = toml_of(text)
        lines = key_lines(text)
    except tomllib.TOMLDecodeError as error:
        return None, [_syntax(str(error), text, path)]
    except (ValueError, RecursionError) as error:
        # Python refuses to count thousands of digits, and to go down thousands of brackets.
        what = "a number or key in it is too long, or its lists are too deep, for any profile"
        bad = ProfileError(what, path=path, hint="begin it anew with 'busbook aircraft new'")
        bad.__cause__ = error
        return None, [bad]
    if (problem := _version_problem(data.pop("version", VERSION))) is not None:
        what, hint = problem
        line = _line(("version",), lines)
        # What another version means by its keys is not known here: they are not judged.
        return None, [ProfileError(what, path=path, line=line, column="version", hint=hint)]
    try:
        aircraft = Aircraft.model_validate(data)
    except ValidationError as error:
        found = _without_echoes([dict(e) for e in error.errors(include_url=False)])
        errors = [_value(e, lines, path) for e in found]
        errors += [
            _problem(p.where, p.what, p.hint, lines, path)
            for p in path_problems_of_rest(data, [e["loc"] for e in found])
        ]
        return None, sorted(errors, key=lambda e: e.line or 0)
    problems = [(p.where, p.what, p.hint) for p in path_problems(aircraft)]
    problems += [
        ((key,), f"'{key}' is no key", "leave it out") for key in _NOT_IN_A_FILE if key in data
    ]
    points = {s.set_point_v for s in aircraft.supplies if s.set_point_v is not None}
    if points and aircraft.regulated_v != max(points):
        what = (
            f"regulated_v is {aircraft.regulated_v:g} but a regulator's set-point {max(points):g}"
        )
        problems.append((("regulated_v",), what, "give it once, at the regulator"))
    errors = [_problem(*problem, lines, path) for problem in problems]
    return aircraft, sorted(errors, key=lambda e: e.line or 0)


def _problem(
    where: KeyPath, what: str, hint: str, lines: dict[KeyPath, int], path: Path
) -> ProfileError:
    return ProfileError(
        what, path=path, line=_line(where, lines), column=key_name(where), hint=hint
    )


def _version_problem(version: object) -> tuple[str, str] | None:
    """What keeps a profile of that version from being read, and what to do."""
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        what = f"{_shown(version)} is no version of a profile"
        return what, f"leave the key out or write version = {VERSION}"
    if version > VERSION:
        what = (
            f"this profile is of a newer busbook (version {_shown(version)}; this one knows up to "
            f"{VERSION})"
        )
        return what, "install the newest busbook"
    return None


def _syntax(message: str, text: str, path: Path) -> ProfileError:
    found = re.search(r"\s*\(at (?:line (\d+), column \d+|end of document)\)", message)
    line = text.count("\n") + 1
    if found is not None:
        message = message[: found.start()]
        line = int(found[1]) if found[1] else line
    hint = (
        "TOML wants key = value, each key once, text in double quotes, tables as [name] or [[name]]"
    )
    return ProfileError(f"not valid TOML: {message}", path=path, line=line, hint=hint)


def _line(where: KeyPath, lines: dict[KeyPath, int]) -> int:
    """Line of a key, or of the nearest table around it."""
    while where and where not in lines:
        where = where[:-1]
    return lines.get(where, 1)


def key_name(where: KeyPath) -> str | None:
    """``nodes 2 . lead . awg``: items counted from 1, as a person does."""
    text = ""
    for part in where:
        text += f" {part + 1}" if isinstance(part, int) else f".{part}" if text else part
    return text or None


def _field(where: KeyPath) -> tuple[type[BaseModel], FieldInfo | None]:
    """The model around a key and the key's field, None where it has none."""
    model: type[BaseModel] = Aircraft
    field: FieldInfo | None = None
    for part in where:
        if isinstance(part, int):
            continue
        if field is not None:
            model = _inner(field.annotation) or model
        field = model.model_fields.get(part)
    return model, field


def _inner(annotation: Any) -> type[BaseModel] | None:
    """The model inside ``tuple[Node, ...]`` or ``Lead | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((m for a in get_args(annotation) if (m := _inner(a)) is not None), None)


_WANTED = {
    "greater_than": "it must be above {gt:g}",
    "greater_than_equal": "it must be at least {ge:g}",
    "less_than": "it must be below {lt:g}",
    "less_than_equal": "it must be at most {le:g}",
    "literal_error": "it must be {expected}",
    "string_type": "it must be text in double quotes",
    "string_too_short": "it must not be empty",
    "too_short": "it must not be empty",
    "tuple_type": "it must be a list, or tables headed [[...]]",
    "model_type": "it must be a table",
    "model_attributes_type": "it must be a table",
    "int_from_float": "it must be a whole number",
    "int_type": "it must be a whole number",
    "int_parsing": "it must be a whole number",
    "float_type": "it must be a number",
    "float_parsing": "it must be a number",
    "finite_number": "it must be a finite number",
    "bool_type": "it must be true or false",
    "bool_parsing": "it must be true or false",
}


def _without_echoes(errors: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """A key that is missing because it was misspelt is told once, as the unknown key."""
    strange = [e["loc"] for e in errors if e["type"] == "extra_forbidden"]

    def echo(error: dict[str, Any]) -> bool:
        *table, key = error["loc"] or ("",)
        near = (w for w in strange if [*w[:-1]] == table)
        return error["type"] == "missing" and any(
            get_close_matches(str(w[-1]), [key]) for w in near
        )

    return [e for e in errors if not echo(e)]


def _value(error: dict[str, Any], lines: dict[KeyPath, int], path: Path) -> ProfileError:
    where: KeyPath = error["loc"]
    kind, context = error["type"], error.get("ctx", {})
    model, field = _field(where)
    hint = (field.description or "") if field is not None else ""
    if kind == "extra_forbidden":
        known = [name for name in model.model_fields if name not in _NOT_IN_A_FILE]
        what, hint = f"unknown key '{where[-1]}'", suggestion(str(where[-1]), known)
    elif kind == "missing":
        what = f"the key '{where[-1]}' is missing"
    elif kind == "value_error":
        what, hint = str(context["error"]), ""
    else:
        wanted = (
            _WANTED.get(kind, "").format(**context) or error["msg"][0].lower() + error["msg"][1:]
        )
        what = f"{_shown(error['input'])} is not allowed: {wanted}"
    return ProfileError(
        what, path=path, line=_line(where, lines), column=key_name(where), hint=hint
    )


def _shown(value: Any) -> str:
    if isinstance(value, dict | list | tuple):
        return "this"
    if isinstance(value, int) and abs(value) > _LONGEST_NUMBER:
        return "this number"
    return f"'{value[:_LONGEST_WORD]}'" if isinstance(value, str) else str(value)
