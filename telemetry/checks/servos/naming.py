"""The servos that may be at fault, with their chances, and the stir that would tell them apart."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from telemetry.aircraft import Servo
from telemetry.measure.currents.named import UNLOGGED, UNLOGGED_WEIGHT

#: From this chance on the servos of one control are named as those at fault.
NAMED = 0.9
# Those of less than this chance are not listed; at most so many are.
_LISTED, _MOST = 0.05, 3
# Each control is moved alone for so long, s, and for so many readings (common practice, no source).
_ALONE_S, _READINGS = 5.0, 10.0
# Controls that sticks move; weight of a servo on one of the others, which works little, beside one
# on these (heuristic).
_STICKS = frozenset({"aileron", "elevator", "rudder"})
_OFF_STICK = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """The servos of a place on one control, and how likely it is they that changed.

    Servos on one control move together: nothing electrical tells them apart.

    Attributes
    ----------
    control : str
        What moves them.
    outputs : tuple of str
        Where the profile tells.
    chance : float
        Probability, 0 to 1.
    rise : float or None
        Their own rise where it was measured, relative.
    """

    control: str
    outputs: tuple[str, ...] = ()
    chance: float
    rise: float | None = None

    @property
    def name(self) -> str:
        """The control, with the outputs where they are known."""
        many = "s" if len(self.outputs) > 1 else ""
        outlets = f" (output{many} {', '.join(self.outputs)})" if self.outputs else ""
        return self.control + outlets


def by_control(servos: Sequence[Servo], known: Collection[str]) -> dict[str, tuple[Servo, ...]]:
    """Servos by what moves them: a control that is known, else the kind of their surface."""
    out: dict[str, tuple[Servo, ...]] = {}
    for servo in servos:
        name = servo.drives if servo.drives in known else servo.surface or servo.drives
        out[name] = (*out.get(name, ()), servo)
    return out


def weight(control: str, servos: int) -> float:
    """How likely so many servos on a control are to fail, before anything is measured."""
    moved = any(word in _STICKS for word in control.split())
    return servos * (1.0 if moved else _OFF_STICK)


def of_one_log(
    servos: Sequence[Servo], measured: Mapping[str, float], unlisted: int = 0
) -> tuple[Suspect, ...]:
    """The suspects of a place by what one log measured, among those that the profile lists there.

    Parameters
    ----------
    servos : sequence of Servo
        Of the place by the profile; none where it lists none.
    measured : mapping of str to float
        Probability of each control, as the control columns tell it; empty without.
    unlisted : int
        Servos that the place has besides.
    """
    if not servos:
        found = {c: p for c, p in measured.items() if c != UNLOGGED}
        return ranked([Suspect(control=c, chance=p) for c, p in found.items()])
    groups = by_control(servos, measured)
    priors = {c: weight(c, sum(s.count for s in mine)) for c, mine in groups.items()}
    unlogged = measured.get(UNLOGGED, 1.0) / UNLOGGED_WEIGHT
    odds = {c: w * measured.get(c, unlogged) for c, w in priors.items()}
    alike = 0.0
    if measured and len(groups) > 1:
        alike = (1.0 - sum(measured.values())) * sum(priors.values()) / len(priors)
    total = sum(odds.values()) + unlisted * unlogged + max(alike, 0.0)
    if total <= 0.0:
        return ()
    return ranked(
        [
            Suspect(control=c, outputs=outputs_of(groups[c]), chance=x / total)
            for c, x in odds.items()
        ]
    )


def outputs_of(servos: Sequence[Servo]) -> tuple[str, ...]:
    """Their outputs."""
    return tuple(str(s.output) for s in servos)


def ranked(suspects: Sequence[Suspect]) -> tuple[Suspect, ...]:
    """The likeliest first."""
    return tuple(sorted(suspects, key=lambda s: -s.chance))


def named(suspects: Sequence[Suspect]) -> Suspect | None:
    """The first one, where it is likely enough to be named alone."""
    return suspects[0] if suspects and suspects[0].chance >= NAMED else None


def told(suspects: Sequence[Suspect]) -> dict[str, float | int | str | None]:
    """Evidence: the likeliest ones with their chances, %, and how long to move each alone, s."""
    out: dict[str, float | int | str | None] = {}
    for k, s in enumerate(_listed(suspects), 1):
        out[f"suspect_{k}"] = s.name
        out[f"suspect_{k}_pct"] = 100.0 * s.chance
    return out


def separating_stir(suspects: Sequence[Suspect], update_s: float | None) -> str:
    """The next bench check that tells the likeliest ones apart; "" where there is nothing to tell.

    Parameters
    ----------
    suspects : sequence of Suspect
        The likeliest first; none where no name is known.
    update_s : float or None
        From one reading of the current to the next.
    """
    if named(suspects) is not None:
        return ""
    seconds = max(_ALONE_S, _READINGS * (update_s or 0.0))
    controls = [s.control for s in _listed(suspects)]
    if not controls:
        which = "one control after the other"
    elif len(controls) == 1:
        which = f"the {controls[0]}, and then one other control after the other"
    else:
        which = f"the {', then the '.join(controls)}"
    return (
        f"With a log running move {which}, each alone for {seconds:.0f} s with a rest between: "
        "the current tells whose servos they are. "
    )


def _listed(suspects: Sequence[Suspect]) -> list[Suspect]:
    return [s for s in suspects if s.chance >= _LISTED][:_MOST]
