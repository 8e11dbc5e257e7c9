"""Sweeps over every step, byte and moment: a fixed share of them in the normal suite, all by hand.

``BUSBOOK_SWEEPS=whole`` in the environment asks for all of them, as the legs of ``.ci/full`` do.
"""

from __future__ import annotations

import os

WHOLE = os.environ.get("BUSBOOK_SWEEPS") == "whole"


def one_in(share: int) -> int:
    """The stride of a sweep: so many, or 1 where the whole sweep is asked for."""
    return 1 if WHOLE else share


def some_of(few: int, whole: int) -> int:
    """How often something is done: a few times, or as often as the whole sweep asks."""
    return whole if WHOLE else few
