"""What a page lets a browser do: nothing but what the page itself holds.

A Content-Security-Policy (W3C, CSP level 3) names the style sheets and scripts of a page by their
hashes. Whatever else a name from a file might smuggle in is then neither run nor fetched. Styles of
single elements cannot be named by a hash, so they become classes of one sheet more.
"""

from __future__ import annotations

import re
from base64 import b64encode
from hashlib import sha256
from html import unescape

_STYLED = re.compile(r"<([a-zA-Z][^<>]*?) style=\"([^\"]*)\"")
_SHEET = re.compile(r"<style>(.*?)</style>", re.DOTALL)
_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)
_META = re.compile(r"\n<meta http-equiv=\"Content-Security-Policy\"[^>]*>")
_CHARSET = '<meta charset="utf-8">'


def sealed(page: str) -> str:
    """A page with the policy that holds for it, as the first element that could matter.

    Parameters
    ----------
    page : str
        Whole, with its style sheets and scripts within it.
    """
    page = _META.sub("", _with_classes(page))
    meta = f'<meta http-equiv="Content-Security-Policy" content="{policy_of(page)}">'
    return page.replace(_CHARSET, f"{_CHARSET}\n{meta}", 1)


def unsealed(page: str) -> str:
    """The page without its policy, for one who sends it along by himself."""
    return _META.sub("", page, count=1)


def policy_of(page: str, *, served: bool = False) -> str:
    """The policy of a page.

    Parameters
    ----------
    page : str
    served : bool
        Whether a server sends it: it may then send its forms there and ask there for more, and
        nobody may put it into a frame. A saved file has nothing to send to.
    """
    home = "'self'" if served else "'none'"
    rules = [
        "default-src 'none'",
        f"style-src {_named(_SHEET, page)}",
        f"script-src {_named(_SCRIPT, page)}",
        "img-src data:",
        "base-uri 'none'",
        f"form-action {home}",
    ]
    if served:
        rules += ["connect-src 'self'", "frame-ancestors 'none'"]
    return "; ".join(rules)


def _named(kind: re.Pattern[str], page: str) -> str:
    """The hashes of all elements of a kind; 'none' where there is none."""
    digests = (sha256(text.encode()).digest() for text in kind.findall(page))
    found = dict.fromkeys(f"'sha256-{b64encode(d).decode()}'" for d in digests)
    return " ".join(found) or "'none'"


def _with_classes(page: str) -> str:
    """The page with each style of an element as a class; they outweigh the rules of the sheet."""
    classes: dict[str, str] = {}

    def named(match: re.Match[str]) -> str:
        name = classes.setdefault(match[2], f"z{len(classes)}")
        return f'<{match[1]} class="{name}"'

    page = _STYLED.sub(named, page)
    if not classes:
        return page
    # Said three times, a class weighs more than any rule of the reports' own sheet.
    rules = "".join(f".{n}.{n}.{n}{{{unescape(style)}}}" for style, n in classes.items())
    return page.replace("</head>", f"<style>{rules}</style>\n</head>", 1)
