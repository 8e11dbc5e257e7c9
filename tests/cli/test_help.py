"""Help, guide and commands agree; help is quick because it loads no heavy library."""

from __future__ import annotations

import json
import re
from pathlib import Path

import click
import pytest

import telemetry
from telemetry.cli import main

ROOT = Path(__file__).parents[2]
GUIDE = Path(telemetry.__file__).parent / "guide"


def commands(group: click.Group = main, path: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    """Every command with the groups that lead to it."""
    out = []
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            out += commands(command, (*path, name))
        else:
            out.append((*path, name))
    return out


@pytest.mark.parametrize("command", commands(), ids=" ".join)
def test_every_help_fits_the_screen_and_has_two_examples(run, command) -> None:
    result = run(*command, "--help")
    assert (result.exit_code, result.stderr) == (0, "")
    lines = result.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    examples = [x for x in lines if x.strip().startswith(f"busbook {' '.join(command)} ")]
    assert len(examples) >= 2, "two examples that can be copied"
    assert run(*command, "-h").stdout == result.stdout


@pytest.mark.parametrize("command", commands(), ids=" ".join)
def test_every_option_says_what_it_is_for(command) -> None:
    item: click.Command = main
    for name in command:
        assert isinstance(item, click.Group)
        item = item.commands[name]
    for parameter in item.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, f"{' '.join(command)} {parameter.name}"


@pytest.mark.parametrize("command", commands(), ids=" ".join)
def test_every_command_stands_on_the_page_of_commands(command) -> None:
    page = (GUIDE / "commands.md").read_text(encoding="utf-8")
    assert re.search(rf"\bbusbook {' '.join(command)}\b", page)


@pytest.mark.parametrize("page", [ROOT / "README.md", *GUIDE.iterdir()], ids=lambda p: p.stem)
def test_a_page_names_no_command_that_is_none(page) -> None:
    text = page.read_text(encoding="utf-8")
    shown = re.findall(r"(?:^|[\s`/\\])busbook((?: [a-z][a-z-]*)+)", "\n".join(_code(text)))
    known = {" ".join(c) for c in commands()} | {c[0] for c in commands()}
    for words in shown:
        first = words.split()
        assert first[0] in known, f"busbook{words}"


def _code(text: str) -> list[str]:
    """The code blocks and code spans of a Markdown text."""
    blocks = re.findall(r"```.*?\n(.*?)```", text, flags=re.DOTALL)
    rest = re.sub(r"```.*?```", "", text, flags=re.DOTALL)
    return [*blocks, *re.findall(r"`([^`\n]+)`", rest)]


def test_the_group_lists_its_commands_and_says_what_it_is_not(run) -> None:
    result = run("--help")
    assert (result.exit_code, result.stderr) == (0, "")
    for command in commands():
        assert re.search(rf"^  {command[0]}\b", result.stdout, flags=re.MULTILINE)
    assert "replaces no inspection" in " ".join(result.stdout.split())


@pytest.mark.parametrize("group", [(), ("aircraft",)], ids=["busbook", "busbook aircraft"])
def test_a_group_alone_prints_its_help_line_by_line(run, group) -> None:
    result = run(*group)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == run(*group, "--help").stdout
    lines = result.stderr.splitlines()
    assert len(lines) > 10
    assert max(map(len, lines)) <= 80
    assert "?" not in result.stderr
    assert "..." not in result.stderr.partition("Commands:")[2], "each sentence is whole"


def test_commands_are_listed_in_the_order_in_which_they_are_used(run) -> None:
    listed = re.findall(r"^  (\w+)  ", run("aircraft", "--help").stdout, flags=re.MULTILINE)
    assert listed == ["new", "check", "set", "show"]


def test_the_version_is_told_installed_or_not(run) -> None:
    result = run("--version")
    assert result.exit_code == 0
    assert re.fullmatch(r"busbook (\d+\.\d+.*|\(not installed\))\n", result.stdout)


def test_unknown_commands_and_options(run) -> None:
    for words in (("revue",), ("review",), ("review", "--colour", "red", "x"), ("demo",)):
        result = run(*words)
        assert (result.exit_code, result.stdout) == (2, "")
        assert result.stderr


_PROBE = """
import json, sys
from telemetry.cli import main
try:
    main(sys.argv[1:], standalone_mode=False)
finally:
    heavy = ("pandas", "numpy", "matplotlib", "scipy", "pyarrow", "pydantic", "jinja2")
    print(json.dumps([m for m in heavy if m in sys.modules]), file=sys.stderr)
"""


@pytest.mark.parametrize(
    "words", [("--help",), ("review", "--help"), ("--version",), ("guide",), ("guide", "findings")]
)
def test_help_loads_no_heavy_library(words) -> None:
    import subprocess
    import sys

    done = subprocess.run(
        [sys.executable, "-c", _PROBE, *words], capture_output=True, text=True, check=True,
        cwd=ROOT,
    )  # fmt: skip
    assert json.loads(done.stderr.splitlines()[-1]) == []


@pytest.mark.parametrize(("workers", "taken"), [(0, False), (1, True), (64, True), (65, False)])
def test_how_many_workers_may_be_asked_for(workers: int, taken: bool) -> None:
    words = ["tern", "--workers", str(workers)]
    if taken:
        assert main.commands["history"].make_context("history", words).params["workers"] == workers
    else:
        with pytest.raises(click.UsageError, match="1<=x<=64"):
            main.commands["history"].make_context("history", words)
