"""What a page may run and load: its own style and script, known by their hashes, nothing else.

The words are those of W3C, "Content Security Policy Level 3": ``default-src 'none'`` refuses
whatever is not named, ``'sha256-...'`` allows only an element with the text that has this hash.
The hashes are those of the program's own files: what a name from a log may have smuggled into a
page has none.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence


def content_policy(styles: Sequence[str], scripts: Sequence[str], *, served: bool = False) -> str:
    """Value of ``Content-Security-Policy`` for a page with these elements within it.

    Parameters
    ----------
    styles, scripts : sequence of str
        Text of each ``<style>`` and ``<script>`` element, as it stands in the page.
    served : bool
        Whether a server sends the page: its forms and questions may then go back there, and
        nobody may frame it. A saved file has nowhere to send anything to.
    """
    home = "'self'" if served else "'none'"
    rules = {
        "default-src": "'none'",
        "style-src": _sources(styles),
        "script-src": _sources(scripts),
        "img-src": "data:",
        "base-uri": "'none'",
        "form-action": home,
    }
    if served:
        # A page itself cannot refuse to be framed: only its server can.
        rules |= {"connect-src": home, "frame-ancestors": "'none'"}
    return "; ".join(f"{name} {value}" for name, value in rules.items())


def _sources(texts: Sequence[str]) -> str:
    return " ".join(f"'sha256-{_sha256(text)}'" for text in texts) or "'none'"


def _sha256(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
