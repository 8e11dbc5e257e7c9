"""The line of every key of a TOML text, held against the standard library's reader."""

from __future__ import annotations

import json
import tomllib
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from telemetry.aircraft.profile.keylines import key_lines

# Every form of the grammar that moves a position (TOML v1.0.0).
TEXT = '''\
# a comment with [brackets] and key = "value"
title = "a # no comment, \\" still text"   # comment
"quoted key" = 1
a.b . c = 'x = 1'

[table] # after
long = """
not = "a key"
[neither]
"quoted" \\""" here
"""
raw = \'\'\'
also_not = 1 \'\'\'
after = 2

[[row]]
numbers = [ 1, 2,
  # between
  3 ]
date = 1979-05-27 07:32:00
inline = { x = 1, y.z = [ { deep = true },
 { deep = "}" } ] }

[row.sub]
k = 1

[[row]]
[[row.part]]
name = "one"
[[row.part]]
name = "two"
'''


def test_every_form_of_the_grammar_keeps_its_line() -> None:
    lines = key_lines(TEXT)
    expected = {
        ("title",): 2,
        ("quoted key",): 3,
        ("a",): 4,
        ("a", "b", "c"): 4,
        ("table",): 6,
        ("table", "long"): 7,
        ("table", "raw"): 12,
        ("table", "after"): 14,
        ("row",): 16,
        ("row", 0): 16,
        ("row", 0, "numbers", 1): 17,
        ("row", 0, "numbers", 2): 19,
        ("row", 0, "date"): 20,
        ("row", 0, "inline", "x"): 21,
        ("row", 0, "inline", "y", "z", 0, "deep"): 21,
        ("row", 0, "inline", "y", "z", 1, "deep"): 22,
        ("row", 0, "sub"): 24,
        ("row", 0, "sub", "k"): 25,
        ("row", 1): 27,
        ("row", 1, "part", 0, "name"): 29,
        ("row", 1, "part", 1): 30,
        ("row", 1, "part", 1, "name"): 31,
    }
    assert {path: lines.get(path) for path in expected} == expected
    assert set(lines) == _paths(tomllib.loads(TEXT))


def test_line_ends_of_either_system_count_alike() -> None:
    assert key_lines(TEXT.replace("\n", "\r\n")) == key_lines(TEXT)


def _paths(value: Any, path: tuple[str | int, ...] = ()) -> set[tuple[str | int, ...]]:
    inner = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if type(value) is list
        else ()
    )
    return ({path} - {()}).union(*(_paths(v, (*path, k)) for k, v in inner))


_KEYS = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\x7f"), max_size=5
)
_LEAVES = (
    st.integers(-9, 9) | st.booleans() | _KEYS | st.sampled_from(["#", "[", '"""', "a=1", "\\"])
)
_VALUES = st.recursive(
    _LEAVES,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_KEYS, inner, max_size=3),
    max_leaves=12,
)


def _inline(value: Any, fill: str) -> str:
    if isinstance(value, dict):
        pairs = (
            f"{json.dumps(k, ensure_ascii=False)} = {_inline(v, '')}" for k, v in value.items()
        )
        return "{ " + ", ".join(pairs) + " }"
    if isinstance(value, list):
        return f"[{fill}" + f",{fill}".join(_inline(v, fill) for v in value) + "]"
    if isinstance(value, str) and "'" not in value and "\n" not in value and len(value) % 2:
        return f"'{value}'"
    return json.dumps(value, ensure_ascii=False)


@given(st.dictionaries(_KEYS, _VALUES, max_size=4), st.sampled_from(["", " ", "\n", " # x]\n  "]))
def test_every_path_of_any_text_is_found_at_its_key(data: dict[str, Any], fill: str) -> None:
    text = "".join(
        f"\n{json.dumps(k, ensure_ascii=False)} = {_inline(v, fill)}\n" for k, v in data.items()
    )
    lines = key_lines(text)
    assert tomllib.loads(text) == data
    assert set(lines) == _paths(data)
    for (first, *_), line in lines.items():
        head = text.split("\n")[lines[(first,)] - 1]
        assert head.startswith(f"{json.dumps(first, ensure_ascii=False)} =")
        assert line >= lines[(first,)]
