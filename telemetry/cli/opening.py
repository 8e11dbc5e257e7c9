"""``busbook open``: the book as a page in the browser."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path

import click

from telemetry.cli.shared import book_path, tell, with_book


@click.command("open")
@with_book
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    default=8417,
    show_default=True,
    metavar="N",
    help="Where the page listens; one in use takes the next.",
)
@click.option("--no-browser", is_flag=True, help="Print the address and open no browser.")
@click.option(
    "--lan",
    is_flag=True,
    help="Let other devices of the network open it too, with the key that is printed.",
)
@click.option(
    "--inbox",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Watch this folder, such as a card reader's, and add the logs that appear in it.",
)
@click.option("--shortcut", is_flag=True, help="Make a sign to click on instead, and open nothing.")
def open_page(
    book: Path | None, port: int, no_browser: bool, lan: bool, inbox: Path | None, shortcut: bool
) -> None:
    """Open the logbook as a page in the browser: drop logs on it, and see how each aircraft stands.

    Everything stays on this machine. A second start finds the page that is open; Ctrl-C, or the
    button on the page, ends it.

    \b
    Examples:
      busbook open
      busbook open --shortcut
      busbook open --inbox /media/card --no-browser
    """
    if shortcut:
        from telemetry.page.start.shortcut import make_shortcut

        words = () if book is None else ("--book", str(book.absolute()))
        tell(f"wrote {make_shortcut(words)}")
        tell("a double click on it, or its entry in the menu, opens the page")
        return
    from telemetry.page.start.serving import serve

    serve(
        book_path(book),
        port=port,
        lan=lan,
        inbox=inbox,
        cache=Path(click.get_app_dir("busbook-pages")),
        browser=not no_browser,
        tell=tell,
    )


def clicked(words: list[str]) -> int:
    """Start the page where a double click did it, and nobody sees a terminal.

    What is told goes to a file; what stops the page is shown in the browser.

    Parameters
    ----------
    words : list of str
        Options of ``busbook open``.

    Returns
    -------
    int
        The exit status.
    """
    from telemetry.cli import main

    told = Path(click.get_app_dir("busbook-page.txt"))
    with contextlib.ExitStack() as ending:
        seen = sys.stdout is not None and sys.stdout.isatty()
        if not seen:
            told.parent.mkdir(parents=True, exist_ok=True)
            # It holds the page's key: for this user alone.
            handle = os.open(told, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_APPEND, 0o600)
            file = ending.enter_context(os.fdopen(handle, "w", encoding="utf-8", buffering=1))
            ending.enter_context(contextlib.redirect_stdout(file))
            ending.enter_context(contextlib.redirect_stderr(file))
        status = 0
        try:
            main(["open", *words], prog_name="busbook")
        except SystemExit as ended:
            status = ended.code if isinstance(ended.code, int) else 1
    if status and not seen:
        import webbrowser

        webbrowser.open(told.as_uri())
    return status
