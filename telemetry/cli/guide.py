"""``busbook guide``: the pages that say what busbook finds and how it is used."""

from __future__ import annotations

import click
from click.shell_completion import CompletionItem

from telemetry.cli.shared import tell
from telemetry.model.errors import UnknownSetting
from telemetry.model.guide import pages, title


def _complete(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:
    return [
        CompletionItem(topic, help=title(text))
        for topic, text in pages().items()
        if topic.startswith(incomplete.lower())
    ]


@click.command()
@click.argument("topic", required=False, shell_complete=_complete)
def guide(topic: str | None) -> None:
    """Print the page of the guide on TOPIC; without a topic, the list of topics.

    \b
    Examples:
      busbook guide findings
      busbook guide profile
    """
    from difflib import get_close_matches

    known = pages()
    if topic is None:
        wide = max(map(len, known))
        for name, page in known.items():
            tell(f"{name:{wide}}  {title(page)}")
        tell("next: busbook guide findings")
        return
    page = known.get(topic.lower(), "")
    if not page:
        # A finding, a limit or an option has no page of its own, but stands in one.
        near = get_close_matches(topic.lower(), known) or [n for n in known if topic in known[n]]
        raise UnknownSetting(
            f"the guide has no page '{topic}'",
            hint=f"{'the nearest' if near else 'there are'}: {', '.join(near or known)}",
        )
    click.echo(page, nl=False)
