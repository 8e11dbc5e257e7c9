"""``busbook guide``: every page, as it lies on disk, on a console of 80 columns."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.shell_completion import ShellComplete

import telemetry
from telemetry.cli import main

FOLDER = Path(telemetry.__file__).parent / "guide"
TOPICS = sorted(path.stem for path in FOLDER.iterdir())


def test_without_a_topic_each_is_listed_with_its_title(run) -> None:
    result = run("guide")
    assert (result.exit_code, result.stderr) == (0, "")
    *listed, following = result.stdout.splitlines()
    assert max(map(len, listed)) <= 80
    titles = {t: (FOLDER / f"{t}.md").read_text("utf-8").splitlines()[0][2:] for t in TOPICS}
    assert [line.split(maxsplit=1) for line in listed] == [[t, titles[t]] for t in TOPICS]
    assert following == "next: busbook guide findings"


@pytest.mark.parametrize("topic", TOPICS)
def test_a_topic_is_printed_as_it_lies_on_disk(run, topic: str) -> None:
    result = run("guide", topic.upper())
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == (FOLDER / f"{topic}.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("topic", TOPICS)
def test_a_page_fits_any_console(topic: str) -> None:
    text = (FOLDER / f"{topic}.md").read_bytes().decode("ascii")
    assert text.endswith("\n")
    assert "\t" not in text
    assert max(map(len, text.splitlines())) <= 80
    assert not re.search(r"^\|", text, flags=re.MULTILINE), "a table is wider than a console"


def test_a_console_of_another_code_page_shows_it(process) -> None:
    done = process("guide", "findings", env={"PYTHONIOENCODING": "cp437"})
    assert done.returncode == 0
    assert done.stdout == (FOLDER / "findings.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("topic", "near"),
    [
        ("finding", "the nearest: findings"),
        ("limit", "the nearest: limits"),
        ("blindspot", "the nearest: blind-spots"),
        ("pack-weak", "the nearest: findings"),
        ("xyzzy", f"there are: {', '.join(TOPICS)}"),
    ],
)
def test_an_unknown_topic_is_one_sentence_with_the_nearest(run, topic: str, near: str) -> None:
    result = run("guide", topic)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == f"the guide has no page '{topic}'; {near}.\n"


@pytest.mark.parametrize(
    ("begun", "topics"), [("fi", ["findings"]), ("CO", ["columns", "commands"]), ("", TOPICS)]
)
def test_the_shell_completes_topics(begun: str, topics: list[str]) -> None:
    completed = ShellComplete(main, {}, "busbook", "_BUSBOOK_COMPLETE").get_completions(
        ["guide"], begun
    )
    assert [one.value for one in completed] == topics
    assert all(one.help for one in completed)
