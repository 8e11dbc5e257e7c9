"""What pages let a browser do, held against the standard (W3C, Content Security Policy level 3)."""

from __future__ import annotations

import hashlib
import re
from base64 import b64encode

from telemetry.report.writers.policy import policy_of, sealed, unsealed

PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<title>Tern</title>
<style>p { margin: 0; }</style>
</head>
<body><p style="fill: var(--ink, #111)">one</p><path d="M0" style="fill: var(--ink, #111)"/>
<path d="M1" style="stroke: &quot;x&quot;"/><b>a style="no attribute" in words</b>
<script>alert('Hello, world.');</script></body></html>
"""


def test_a_script_is_named_as_in_the_example_of_the_standard() -> None:
    """The hash of that script as the W3C's recommendation prints it (from memory, recomputed)."""
    told = "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='"
    digest = hashlib.sha256(b"alert('Hello, world.');").digest()
    assert told == f"'sha256-{b64encode(digest).decode()}'"
    assert f"script-src {told};" in policy_of(PAGE)


def test_every_sheet_is_named_and_nothing_else_is_allowed() -> None:
    page = sealed(PAGE)
    (policy,) = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)
    for text in re.findall(r"<style>(.*?)</style>", page, re.DOTALL):
        assert b64encode(hashlib.sha256(text.encode()).digest()).decode() in policy
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy
    assert "http" not in policy
    assert "form-action 'none'" in policy
    assert page.index("Content-Security-Policy") < page.index("<title>")


def test_styles_of_elements_become_classes_of_one_sheet() -> None:
    page = sealed(PAGE)
    assert not re.search(r"<[^<>]* style=", page)
    assert page.count('class="z0"') == 2
    assert ".z0.z0.z0{fill: var(--ink, #111)}" in page
    assert '.z1.z1.z1{stroke: "x"}' in page
    assert 'a style="no attribute" in words' in page


def test_it_can_be_sealed_again_and_sent_by_a_server() -> None:
    page = sealed(PAGE)
    assert sealed(page) == page
    assert "Content-Security-Policy" not in unsealed(page)
    served = policy_of(page, served=True)
    assert "form-action 'self'; connect-src 'self'; frame-ancestors 'none'" in served
