"""What pages let a browser do, held against the standard (W3C, Content Security Policy level 3)."""

from __future__ import annotations

from telemetry.report.writers.policy import content_policy


def test_a_script_is_named_as_in_the_example_of_the_standard() -> None:
    """The hash of that script as the W3C's recommendation prints it (from memory, recomputed)."""
    told = "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='"
    assert f"script-src {told};" in content_policy([], ["alert('Hello, world.');"])


def test_nothing_is_allowed_that_is_not_named() -> None:
    policy = content_policy(["p { margin: 0 }", "b { margin: 0 }"], [])
    assert policy.startswith("default-src 'none'; ")
    assert policy.count("'sha256-") == 2
    assert "script-src 'none'" in policy
    assert "form-action 'none'" in policy
    assert "unsafe" not in policy


def test_a_server_lets_forms_come_home_and_nobody_frame_its_pages() -> None:
    policy = content_policy([], [], served=True)
    assert policy.endswith("form-action 'self'; connect-src 'self'; frame-ancestors 'none'")
