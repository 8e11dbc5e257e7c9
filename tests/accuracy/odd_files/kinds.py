"""The list of kinds of odd files, and how one file of a kind is made."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.accuracy.odd_files.draft import Draft, start
from tests.accuracy.odd_files.flight import random_flight

FAMILIES = ("names", "values", "time", "structure", "encoding")
#: Of so many files one carries a planted brownout, and of so many one a second oddity.
BROWNOUT_SHARE, SECOND_SHARE = 0.25, 0.25


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One way in which a file is odd.

    Attributes
    ----------
    name, family : str
    apply : callable
        Alters a draft at the stage of its family.
    alone : bool
        True where a second oddity would make it ambiguous, or cannot be laid over it.
    prepare : callable, optional
        Names the columns first; no oddity of names goes with it then.
    """

    name: str
    family: str
    apply: Callable[[Draft], None]
    alone: bool = False
    prepare: Callable[[Draft], None] | None = None


KINDS: dict[str, Kind] = {}


def kind(
    family: str,
    name: str,
    *,
    alone: bool = False,
    prepare: Callable[[Draft], None] | None = None,
) -> Callable[[Callable[[Draft], None]], Callable[[Draft], None]]:
    """Enter a function that alters a draft into the list of kinds."""

    def enter(apply: Callable[[Draft], None]) -> Callable[[Draft], None]:
        assert name not in KINDS, name
        KINDS[name] = Kind(name=name, family=family, apply=apply, alone=alone, prepare=prepare)
        return apply

    return enter


def make(names: tuple[str, ...], seed: int, *, plain: bool = False) -> Draft:
    """One file of a kind, or of two; the same for the same seed.

    Parameters
    ----------
    names : tuple of str
        Of kinds of different families.
    seed : int
    plain : bool
        The same flight without its oddities.
    """
    rng = np.random.default_rng([seed, zlib.crc32(names[0].encode())])
    brownout = rng.random() < BROWNOUT_SHARE
    flight = random_flight(rng, brownout=brownout)
    draft = start(flight, rng)
    kinds = [] if plain else sorted((KINDS[n] for n in names), key=_stage)
    for k in kinds:
        if k.prepare is not None:
            k.prepare(draft)
    laid_out = False
    for k in kinds:
        if not laid_out and _stage(k) >= FAMILIES.index("structure"):
            draft.lay_out()
            laid_out = True
        k.apply(draft)
    if not laid_out:
        draft.lay_out()
    return draft


def kinds_of(name: str, seed: int) -> tuple[str, ...]:
    """The kinds of the file of a seed: the one named, and for a share of files one more."""
    rng = np.random.default_rng([seed, 1, zlib.crc32(name.encode())])
    first = KINDS[name]
    if first.alone or rng.random() > SECOND_SHARE:
        return (name,)
    barred = {first.family, "names" if first.prepare else ""}
    others = [
        k.name
        for k in KINDS.values()
        if k.family not in barred and not k.alone and not (k.prepare and first.family == "names")
    ]
    both = (name, str(rng.choice(others)))
    try:
        make(both, seed).written()
    except UnicodeEncodeError:  # the encoding of one lacks what the other writes
        return (name,)
    return both


def _stage(k: Kind) -> int:
    return FAMILIES.index(k.family)
