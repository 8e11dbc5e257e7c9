"""README, guide, DEVELOPERS.md and the pages of results say what the program is and does."""

from __future__ import annotations

import json
import re
import runpy
import shlex
import shutil
import tomllib
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from telemetry.aircraft import CELL_V, Limits
from telemetry.checks.listed import CODES
from telemetry.cli import main
from telemetry.report.words import LEVEL_MEANING, LEVEL_WORD
from telemetry.report.writers import json as report_json
from tests.full import findings_page

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
GUIDE = {
    path.stem: path.read_text(encoding="utf-8")
    for path in sorted((ROOT / "telemetry" / "guide").iterdir())
}
# What a person who flies reads.
TOLD = {"README": README, **GUIDE}
RESULTS = ("tests/accuracy/RESULTS.md", "tests/bench/RESULTS.md", "tests/full/OPEN_DATA.md")
PAGES = (
    "README.md",
    "DEVELOPERS.md",
    "sample_logs/README.md",
    *(f"telemetry/guide/{topic}.md" for topic in GUIDE),
    *RESULTS,
)
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def section(text: str, title: str) -> str:
    """A part of a text, from its heading to the next of the same depth or above."""
    depth = title.index(" ")
    found = re.search(
        rf"^{re.escape(title)}\n.*?(?=^#{{1,{depth}}} |\Z)", text, flags=re.MULTILINE | re.DOTALL
    )
    assert found, title
    return found[0]


def blocks(text: str, kind: str) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```", text, flags=re.MULTILINE | re.DOTALL)


def rows(text: str) -> list[list[str]]:
    """The cells of the rows of the tables of a text, without their heads."""
    lines = [line for line in text.splitlines() if line.startswith("|")]
    cells = [[c.strip() for c in re.split(r"(?<!\\)\|", line)[1:-1]] for line in lines]
    return [c for c in cells if not all(re.fullmatch(r"-+", x) for x in c)]


def command_lines(text: str) -> list[list[str]]:
    """The words of every line of the shell blocks that runs busbook."""
    joined = [block.replace("\\\n", " ") for block in blocks(text, "sh")]
    lines = [line for block in joined for line in block.splitlines()]
    parts = [part for line in lines for part in line.split("&&")]
    words = [shlex.split(part, comments=True) for part in parts]
    return [w[1:] for w in words if w and Path(w[0]).name == "busbook"]


def commands(group: click.Group = main) -> list[click.Command]:
    out: list[click.Command] = []
    for command in group.commands.values():
        out += commands(command) if isinstance(command, click.Group) else [command]
    return out


def parsed(command: click.Command, words: list[str]) -> click.Context:
    """The words of a command as it takes them; UsageError for an option or value that is none."""
    # Commands keep what they inherit from the context above, such as -h.
    above = click.Context(main, info_name="busbook", **main.context_settings)
    return command.make_context(command.name, words, parent=above)


# Commands.


@pytest.mark.parametrize(
    "words", [words for text in TOLD.values() for words in command_lines(text)], ids=" ".join
)
def test_every_command_shown_is_understood(words) -> None:
    if words == ["--version"]:
        return
    command: click.Command = main
    rest = list(words)
    while isinstance(command, click.Group):
        found = command.commands.get(rest.pop(0))
        assert found is not None, words
        command = found
    parsed(command, rest)


def test_every_option_stands_on_the_page_of_commands() -> None:
    page = GUIDE["commands"]
    code = "\n".join([*blocks(page, "sh"), *re.findall(r"`([^`\n]+)`", page)])
    for command in commands():
        for parameter in command.params:
            if isinstance(parameter, click.Option):
                name = parameter.opts[-1] if parameter.opts[-1] != "-h" else "--help"
                assert re.search(rf"{name}\b", code), f"{command.name} {name}"


def test_a_command_that_is_none_would_be_seen() -> None:
    text = "```sh\nbusbook review a.csv \\\n  --colour red  # with a remark\n```\n"
    assert command_lines(text) == [["review", "a.csv", "--colour", "red"]]
    with pytest.raises(click.UsageError):
        parsed(main.commands["review"], ["a.csv", "--colour", "red"])


# Findings, limits, dependencies, documents.


def items(text: str) -> list[str]:
    """The items of the lists of a text, each on one line."""
    found = re.findall(r"^- (.*(?:\n  .*)*)", text, flags=re.MULTILINE)
    return [" ".join(item.split()) for item in found]


def test_the_page_of_findings_is_what_the_list_of_checks_says() -> None:
    """Written by ``python tests/full/findings_page.py --write``."""
    assert GUIDE["findings"] == findings_page.page(GUIDE["findings"])


def test_every_finding_is_explained_with_its_bench_check() -> None:
    _, *parts = re.split(r"^### ", GUIDE["findings"], flags=re.MULTILINE)
    explained: list[str] = []
    for part in parts:
        head, question, meaning, confirm, *_ = part.split("\n\n")
        explained += re.findall(r"`([a-z-]+)`", head)
        assert re.fullmatch(r"`[a-z-]+`(, `[a-z-]+`)*", head)
        assert re.fullmatch(r"\*Question:\* [A-Z](.|\n)*\?", question), head
        assert re.match(r"[A-Z]", meaning), head
        assert re.match(r"\*Confirm:\* [\w`]", confirm), head
    assert len(explained) == len(set(explained))
    assert set(explained) == set(CODES)


def test_the_cautions_come_before_any_bench_check() -> None:
    for text, first in ((README, "## Start"), (GUIDE["findings"], "### ")):
        before = " ".join(text.partition(first)[0].split())
        for words in (
            "propeller clear or removed, ignition off, turbine shut down",
            "aircraft restrained, people clear",
            "never charge unattended, nor a swollen, hot or over-discharged pack",
            "Unplug packs before working on wiring",
        ):
            assert words.lower() in before.lower(), (first, words)
    assert "no proof of airworthiness" in README.partition("## Start")[0]
    assert "no proof of airworthiness" in GUIDE["blind-spots"]


def test_nothing_is_called_safe() -> None:
    for name, text in TOLD.items():
        assert not re.search(r"(?<!made )\bsafe", text), name


def test_every_level_has_its_word_and_meaning() -> None:
    told = items(section(GUIDE["review"], "## Levels"))
    assert sorted(told) == sorted(
        f'`{level.value}`, "{LEVEL_WORD[level]}": {LEVEL_MEANING[level]}.' for level in LEVEL_WORD
    )
    assert {f"**{word}**" for word in LEVEL_WORD.values()} <= {*re.findall(r"\*\*.*?\*\*", README)}


def test_every_limit_stands_with_its_default() -> None:
    page, _, cells = GUIDE["limits"].partition("\n## Voltage of a cell\n")
    defaults = {
        name: "by the bus" if field.default is None else f"{field.default:g}"
        for name, field in Limits.model_fields.items()
    }
    assert items(page) == [
        f"`{name}`, {defaults[name]}: {field.description}"
        for name, field in Limits.model_fields.items()
    ]
    assert items(cells) == [
        f"`{kind}`: {full:.2f}, {nominal:.2f}, {floor:.2f}"
        for kind, (full, nominal, floor) in CELL_V.items()
    ]


def test_every_dependency_has_its_reason() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"]]
    for extra in project["optional-dependencies"].values():
        wanted += extra
    names = {re.match(r"[\w-]+", w)[0] for w in wanted}
    table = rows(section(README, "## Dependencies"))[1:]
    told = {n for row in table for n in re.findall(r"[\w-]+", re.sub(r"\*.*\*", "", row[0]))}
    assert told == names
    extras = set(re.findall(r"`\[(\w+)\]`", " ".join(row[0] for row in table)))
    assert extras == set(project["optional-dependencies"])
    assert all(len(row) == 2 and all(row) for row in table)


def test_every_key_of_the_documents_is_told(review, history, tmp_path) -> None:
    text = GUIDE["json"]
    one = report_json.document([review])
    across = report_json.history_document(history)
    finding = across["findings"][0]
    (profile,) = blocks(GUIDE["profile"], "toml")
    (tmp_path / "plover.toml").write_text(profile, encoding="utf-8")
    printed = CliRunner().invoke(main, ["budget", str(tmp_path / "plover.toml"), "--json"])
    design = json.loads(printed.stdout)
    for key in (*one, *one["reviews"][0], *across, *finding, *design, *design["places"][0]):
        if key not in ("servo", "flight", "start_s", "end_s"):
            assert f"`{key}`" in text, key
    for schema in (report_json.SCHEMA, report_json.HISTORY_SCHEMA, report_json.BUDGET_SCHEMA):
        assert f"`{schema}`" in text


# Examples.


def test_the_python_examples_run(tmp_path, monkeypatch, capsys) -> None:
    shutil.copytree(ROOT / "sample_logs", tmp_path / "sample_logs")
    monkeypatch.chdir(tmp_path)
    (first,) = blocks(GUIDE["python"], "python")
    of_a_book = blocks(GUIDE["book"], "python")
    exec(compile(first, "python.md", "exec"), {})
    assert "left wing" in capsys.readouterr().out
    assert (tmp_path / "proof.png").read_bytes().startswith(b"\x89PNG")
    log = "sample_logs/tern-bench-stir.csv"
    args = ["add", log, "--aircraft", "tern", "--book", "book"]
    assert CliRunner().invoke(main, args).exit_code == 0
    for example in of_a_book:
        exec(compile(example, "book.md", "exec"), {})


def alike(told: str, output: str) -> None:
    """Every part of a text between dots stands in the output: its words, and about its numbers."""
    flat = " ".join(output.split())
    for part in re.split(r"^\.\.\.$", told, flags=re.MULTILINE):
        words = " ".join(part.split())
        pattern = re.escape(_NUMBER.sub("\0", words)).replace(
            re.escape("\0"), f"({_NUMBER.pattern})"
        )
        found = re.search(pattern, flat)
        assert found, f"not in the output: {words}\n\n{output}"
        was = [float(x) for x in _NUMBER.findall(words)]
        assert [float(x) for x in found.groups()] == pytest.approx(was, rel=0.1, abs=3), words


def test_the_walk_shows_what_the_commands_print(tmp_path, monkeypatch) -> None:
    """After a change that alters it: take the new output into the README."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BUSBOOK", str(tmp_path / "book"))
    walk = section(README, "## From a memory card to a decision in five minutes")
    output = ""
    for kind, text in re.findall(r"^```(sh|text)\n(.*?)^```", walk, flags=re.MULTILINE | re.DOTALL):
        if kind == "text":
            alike(text, output)
            continue
        output = ""
        for words in command_lines(f"```sh\n{text}```"):
            done = CliRunner().invoke(main, words)
            assert done.exit_code == 0, done.output
            output += done.stdout


# Files and parts.


@pytest.mark.parametrize("page", PAGES)
def test_every_file_named_is_there(page) -> None:
    path = ROOT / page
    text = path.read_text(encoding="utf-8")
    for link in re.findall(r"\]\((?!http)([^)#]+)\)", text):
        assert (path.parent / link).exists(), link
    named = re.findall(r"`((?:tests|telemetry|notebooks|sample_logs|\.ci)/[\w./-]*)`", text)
    named += re.findall(r"python (?:-m pytest )?((?:tests|notebooks)/[\w./-]+)", text)
    for name in named:
        assert (ROOT / name).exists(), name


def test_a_page_of_the_guide_leads_only_to_what_ships_with_it() -> None:
    for topic, text in GUIDE.items():
        for link in re.findall(r"\]\((?!http)([^)#]+)\)", text):
            assert link.removesuffix(".md") in GUIDE, f"{topic}: {link}"


def test_the_readme_is_short_and_leads_to_every_page() -> None:
    assert len(README.splitlines()) <= 250
    links = re.findall(r"\]\((?!http)([^)#]+)\)", README)
    assert {*links} >= {f"telemetry/guide/{topic}.md" for topic in GUIDE} | {*RESULTS}
    assert "`busbook guide`" in README


@pytest.mark.parametrize("topic", GUIDE)
def test_a_page_of_the_guide_has_one_title(topic) -> None:
    plain = re.sub(r"^```.*?^```", "", GUIDE[topic], flags=re.MULTILINE | re.DOTALL)
    assert len(re.findall(r"^# ", plain, flags=re.MULTILINE)) == 1
    assert GUIDE[topic].startswith("# ")


def test_what_is_installed_is_installed_from_the_sources() -> None:
    texts = [*(ROOT / name for name in PAGES), *(ROOT / "telemetry").rglob("*.py")]
    texts += (ROOT / "notebooks").glob("*.ipynb")
    shown = 0
    for path in texts:
        for what in re.findall(r"pip install (?:-\S+ )*(\S+)", path.read_text(encoding="utf-8")):
            shown += 1
            assert "busbook" not in what, f"{path}: no registry has a busbook"
    assert shown >= 3


def test_the_pictures_are_shown_and_small() -> None:
    pictures = sorted((ROOT / "notebooks" / "images").iterdir())
    assert sum(p.stat().st_size for p in pictures) < 1_000_000
    for picture in pictures:
        assert f"(notebooks/images/{picture.name})" in README, picture.name


def test_every_part_of_the_house_is_described_with_what_it_may_import() -> None:
    layers = runpy.run_path(str(ROOT / "tests" / "test_layers.py"))
    allowed, model = layers["ALLOWED"], layers["MODEL"]
    told = {}
    for part, _, knows in rows(section(DEVELOPERS, "## The house"))[1:]:
        words = {w for w in knows.split(", ") if w not in ("nothing", "the model")}
        told[part.strip("`").removesuffix(".py").rstrip("/")] = words | (
            model if "the model" in knows else set()
        )
    assert told.pop("cli") == {"everything"}
    assert told == allowed


def test_every_sample_log_is_described_and_marked_as_invented() -> None:
    folder = ROOT / "sample_logs"
    text = (folder / "README.md").read_text(encoding="utf-8")
    assert "**All of these logs are invented.**" in text
    told = {row[0].strip("`") for row in rows(text)[1:]}
    logs = {p.name for p in folder.iterdir()} - {"README.md"}
    assert told == logs
    for name in logs:
        head = "\n".join((folder / name).read_text(encoding="cp1252").splitlines()[:4])
        assert "invented demonstration data" in head
