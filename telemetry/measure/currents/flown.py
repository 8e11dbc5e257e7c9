"""A node in flight beside its counterpart and all other places."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.measure.currents.added import CurrentBlocks, least_added
from telemetry.measure.currents.named import Columns, changed_controls
from telemetry.measure.currents.shares import Shared
from telemetry.measure.currents.taking import NodeCurrent
from telemetry.measure.currents.work import control_work, nearest
from telemetry.model.log import FloatArray
from telemetry.results import UnusualKind, WatchedCurrent

BoolArray = NDArray[np.bool_]

_LEAST_BLOCKS = 40
_STICKS = "the movement of the sticks"
#: What a current mostly does not fall below is what it draws with nothing to do.
_REST = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeInFlight:
    """A node in flight beside its counterpart and the other places, in blocks that all have."""

    node: NodeCurrent
    mirror: NodeCurrent | None
    others: Sequence[NodeCurrent]
    now: CurrentBlocks
    start_s: FloatArray
    beside: Mapping[str, CurrentBlocks]
    work: FloatArray | None
    controls: Columns

    @classmethod
    def of(
        cls,
        node: NodeCurrent,
        mirror: NodeCurrent | None,
        others: Sequence[NodeCurrent],
        columns: Columns,
        edges: FloatArray,
        flying: BoolArray,
    ) -> NodeInFlight | None:
        """None where too few blocks hold all of them."""
        known = flying & np.isfinite(node.mean)
        for other in others:
            known &= np.isfinite(other.mean)
        if known.sum() < _LEAST_BLOCKS:
            return None
        block_s = float(edges[1] - edges[0])

        def blocks(n: NodeCurrent) -> CurrentBlocks:
            return CurrentBlocks(
                mean=n.mean[known],
                low=n.low[known],
                block_s=block_s,
                step=n.step,
                update_s=n.reading.update_s or 0.0,
                fresh=np.histogram(n.reading.t, edges)[0][known].astype(float),
            )

        return cls(
            node=node,
            mirror=mirror,
            others=others,
            now=blocks(node),
            start_s=edges[:-1][known],
            beside={o.place: blocks(o) for o in others},
            work=control_work(columns, node.mean, known),
            controls={n: (x[known], y[known]) for n, (x, y) in columns.items()},
        )

    @property
    def counterpart(self) -> FloatArray | None:
        """What it should follow, A: the mirror's current, else what the sticks say."""
        return self.work if self.mirror is None else self.beside[self.mirror.place].mean

    def shared(self) -> Shared | None:
        """Its share of the counterpart's current over rest; of all others where there is none."""
        mine = _over_rest(self.now.mean, self.node.rest.get("before"))
        if self.mirror is not None:
            rest = self.mirror.rest.get("before")
            other = _over_rest(self.beside[self.mirror.place].mean, rest)
        elif self.work is not None:
            other = _over_rest(self.work, self.node.rest.get("before"))
        elif self.others:
            rests = [o.rest.get("before") for o in self.others]
            beside = [self.beside[o.place].mean for o in self.others]
            told = [
                np.clip(_over_rest(x, r), 0.0, None) for x, r in zip(beside, rests, strict=True)
            ]
            design = np.stack(told, axis=1)
            other = design @ nearest(np.clip(mine, 0.0, None), design)
        else:
            return None
        usual, paired = float(self.now.mean.mean()), self.mirror is not None
        return Shared.of(mine, other, self.now.block_s, usual=usual, mirror=paired)

    def third(self) -> list[FloatArray]:
        """What the places that are no mirror of it draw over rest, and what the sticks say."""
        apart = [o for o in self.others if o is not self.mirror]
        told = [] if self.work is None else [_over_rest(self.work, self.node.rest.get("before"))]
        return [_over_rest(self.beside[o.place].mean, o.rest.get("before")) for o in apart] + told

    def drawn(self, place: str) -> FloatArray:
        """Mean current of each block, A, of itself or of a place beside it."""
        return (self.now if place == self.node.place else self.beside[place]).mean

    def moves(self, place: str, mirror: str) -> float:
        """What a place draws for moves, as part of what its mirror does."""
        own, other = (
            float(np.clip(x - np.quantile(x, _REST), 0.0, None).sum())
            for x in (self.drawn(place), self.drawn(mirror))
        )
        return own / other if other > 0.0 else 1.0

    @property
    def against(self) -> str:
        """What it is compared with; "" where there is nothing."""
        return (
            self.mirror.place
            if self.mirror is not None
            else _STICKS
            if self.work is not None
            else ""
        )

    def watched(self) -> WatchedCurrent:
        """What would have shown in half a minute at the least."""
        least = least_added(self.now, self.counterpart)
        return WatchedCurrent(
            place=self.node.place,
            against=self.against,
            least_a=least,
            update_s=self.now.update_s,
            seconds=self.now.mean.size * self.now.block_s,
        )

    def changed(self, kind: UnusualKind, first: int) -> tuple[tuple[str, float], ...]:
        """The controls by how likely it is their servos that changed; () where nothing tells.

        A silent one against what it drew before the block ``first``, one that heats late against
        early, one that draws more, or less, against the mirror's.
        """
        at = np.arange(self.now.mean.size)
        mine, third = self.now.mean, at.size // 3
        if kind is UnusualKind.SILENT:
            usual, now = (mine, at < first), (mine, at >= first)
        elif kind is UnusualKind.HEATS:
            usual, now = (mine, at < third), (mine, at >= at.size - third)
        elif kind in (UnusualKind.MORE, UnusualKind.LESS) and self.mirror is not None:
            usual, now = (self.beside[self.mirror.place].mean, at >= 0), (mine, at >= 0)
        else:
            return ()
        rose = kind not in (UnusualKind.SILENT, UnusualKind.LESS)
        return changed_controls(self.controls, usual, now, self.now.block_s, rose=rose)


def _over_rest(x: FloatArray, rest: float | None) -> FloatArray:
    """A current in flight over its rest on the ground, never over what it often falls below."""
    low = float(np.quantile(x, 0.1))
    return np.asarray(x - (low if rest is None else min(low, rest)))
