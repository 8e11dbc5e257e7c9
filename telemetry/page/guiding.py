"""The guide as pages: the Markdown files that ``busbook guide`` prints."""

from __future__ import annotations

import re
from functools import cache
from itertools import pairwise

from markdown_it import MarkdownIt
from markdown_it.token import Token
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from telemetry.model.guide import pages, title
from telemetry.page.answers import NotFound, shown, ways_home


def guide(_: Request) -> Response:
    """Which pages are there?"""
    listed = [(topic, title(text)) for topic, text in pages().items()]
    return shown("guide", ways_home("/guide"), listed=listed)


def topic(request: Request) -> Response:
    """What does this mean?"""
    name = request.path_params["topic"]
    text = pages().get(name)
    if text is None:
        raise NotFound(f"the guide has no page '{name[:60]}'")
    return shown(
        "topic", ways_home(""), title=title(text), text=Markup(_html(text)), listed=list(pages())
    )


@cache
def _html(text: str) -> str:
    """Markdown as HTML: markup within it is text, links lead to pages of the guide alone."""
    writer = MarkdownIt("commonmark", {"html": False})
    tokens = writer.parse(text)
    # The page has its title already.
    first = next((k for k, t in enumerate(tokens) if t.type == "heading_close"), -1)
    tokens = tokens[first + 1 :]
    for before, token in pairwise(tokens):
        if before.type == "heading_open" and token.type == "inline":
            _name(before, token)
        for child in token.children or ():
            if child.type == "link_open":
                child.attrSet("href", _link(str(child.attrGet("href") or "")))
    return str(writer.renderer.render(tokens, writer.options, {}))


def _name(heading: Token, inline: Token) -> None:
    """Anchors for a heading: by the code it names, else by its words."""
    codes = [c.content for c in inline.children or () if c.type == "code_inline"]
    names = codes or [re.sub(r"[^a-z0-9]+", "-", inline.content.lower()).strip("-")]
    heading.attrSet("id", names[0])
    # A heading of several codes: the others as marks within it.
    for child in (inline.children or [])[::-1]:
        if child.type == "code_inline" and child.content in names[1:]:
            child.attrSet("id", child.content)


def _link(href: str) -> str:
    page, _, anchor = href.partition("#")
    known = page.removesuffix(".md")
    if known in pages():
        return f"/guide/{known}{'#' if anchor else ''}{anchor}"
    return href if href.startswith("#") else "/guide"
