"""The pages of the guide: plain Markdown files that ship with the program."""

from __future__ import annotations

_ENDING = ".md"


def pages() -> dict[str, str]:
    """The text of every page, by its topic, in alphabetical order."""
    from importlib.resources import files

    folder = files("telemetry") / "guide"
    found = sorted(f.name for f in folder.iterdir() if f.name.endswith(_ENDING))
    return {
        name.removesuffix(_ENDING): (folder / name).read_text(encoding="utf-8") for name in found
    }


def title(page: str) -> str:
    """The title of a page, which is its first line."""
    return page.partition("\n")[0].removeprefix("# ")
