"""What computes and draws, loaded behind the first page: it takes longer than all else."""

from __future__ import annotations

from threading import Lock

from starlette.routing import Router

_TURN = Lock()


def load() -> Router:
    """Load what every page but the list of aircraft is made with; those pages.

    One thread at a time: libraries that import one another in a circle are then never met half
    made by another thread.
    """
    with _TURN:
        from telemetry.page.routes import REST

        return REST
