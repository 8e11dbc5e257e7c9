"""Kinds of fault of a season: which findings rightly tell them, and what ought to close these."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One kind of fault.

    Attributes
    ----------
    name : str
    codes : tuple of str
        Findings that rightly tell it at its place; any other code there is a wrong name for it.
    counts_from : float
        Level from which it counts: the aims are stated from there on. 0: from its onset on.
    rises : bool
        Whether the rivals, which watch stir currents for a rise, can see it.
    lasts : bool
        Whether its finding stays open until a note even where the fault has gone: a lost pack or
        supply, a silent servo, a contact that opened in flight; of the last only at ground.
    sight : str
        How the oracle looks for it in seasons of the project's simulator.
    made_by : tuple of str
        The generators that make it.
    """

    name: str
    codes: tuple[str, ...]
    counts_from: float = 0.0
    rises: bool = False
    lasts: bool = False
    sight: str = ""
    made_by: tuple[str, ...] = ("own", "fleet")


_OWN, _FLEET = ("own",), ("fleet",)
_LEAD = ("branch-resistance-rising", "branch-resistance-high")
_PACK = ("source-resistance-rising", "source-resistance-high", "pack-weak", "pack-share")
_HEATS = ("servo-heating", "servo-current-rising")
_DROOPS = ("supply-dips", "regulator-droop", "switch-step", "undervoltage", "margin-low")
_MOMENTS = ("contact-intermittent", "sag-unexplained", "brownout", "restart")

_ALL = (
    Kind(
        name="servo-binding",
        codes=("servo-current-rising",),
        counts_from=0.25,
        rises=True,
        sight="current",
    ),
    Kind(
        name="servo-heating",
        codes=_HEATS,
        sight="climb",
        made_by=_OWN,
    ),
    Kind(name="servo-heating-wing", codes=_HEATS, made_by=_FLEET),
    Kind(name="servo-heating-tail", codes=_HEATS, made_by=_FLEET),
    Kind(name="servo-silent", codes=("servo-silent",), lasts=True, sight="current"),
    Kind(name="connector", codes=_LEAD, counts_from=0.015, sight="lead"),
    Kind(name="contact", codes=_MOMENTS, lasts=True, sight="moments"),
    Kind(name="pack-ageing", codes=_PACK, counts_from=0.30, sight="pack", made_by=_OWN),
    Kind(name="pack-lead", codes=_PACK, counts_from=0.010, sight="pack", made_by=_OWN),
    Kind(name="pack-weak", codes=_PACK, made_by=_FLEET),
    Kind(name="packs-ageing", codes=_PACK, made_by=_FLEET),
    Kind(name="pack-set-weak", codes=_PACK, made_by=_FLEET),
    Kind(name="pack-out", codes=("pack-out",), lasts=True, sight="out"),
    Kind(name="switch-step", codes=(*_PACK, "switch-step"), sight="pack", made_by=_OWN),
    Kind(name="sensor-offset", codes=("sensor-offset",), sight="offset"),
    Kind(name="sensor-gain", codes=("capacity-mismatch", "current-balance"), sight="gain"),
    Kind(
        name="brownout",
        codes=("supply-dips", *_MOMENTS),
        lasts=True,
        sight="moments",
        made_by=_OWN,
    ),
    Kind(name="supply-dips", codes=(*_DROOPS, *_MOMENTS), made_by=_FLEET),
    Kind(name="regulator-droop", codes=(*_DROOPS, "source-resistance-high"), made_by=_FLEET),
)

KINDS = {kind.name: kind for kind in _ALL}
