"""How a test's process is told what to do with a logbook: forked line by line, or at a signal."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

#: Path of the book, path of the acknowledgements, and two numbers.
Work = Callable[[str, str, int, int], None]


def serve(work: Work) -> None:
    """Fork one process for each line of the input; its id, and "gone" when it is."""
    for line in sys.stdin:
        book, acks, first, second = line.split("\t")
        child = os.fork()
        if child == 0:
            work(book, acks, int(first), int(second))
            os._exit(0)
        print(child, flush=True)
        os.waitpid(child, 0)
        print("gone", flush=True)


def run(work: Work) -> None:
    """Serve where no argument is given; else work once, when the file named last is there."""
    if len(sys.argv) == 1:
        serve(work)
        return
    book, acks, first, second, go = sys.argv[1:]
    print("ready", flush=True)
    while not Path(go).exists():
        time.sleep(0.001)
    work(book, acks, int(first), int(second))
