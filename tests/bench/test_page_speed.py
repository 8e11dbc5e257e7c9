"""Cost of the local page over a book of 1,000 flights: its start, the list, a page made before.

    python -m pytest tests/bench/test_page_speed.py -s -p no:xdist

BUSBOOK_BENCH_FLIGHTS takes another number than 1,000. Times are by the clock, and by the processor
beside them: on a machine with other work the second tells more.
"""

from __future__ import annotations

import http.client
import os
import re
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from telemetry.app.incoming.batch import add_files
from telemetry.book import Logbook
from telemetry.page.rendered import Rendered
from tests.cli.conftest import text_of
from tests.page.conftest import Page

FLIGHTS = int(os.environ.get("BUSBOOK_BENCH_FLIGHTS", "1000"))
ROOT = Path(__file__).parents[2]
# Of the processor, s: a page that was made before, and the start until the address is told.
_MOST_PAGE_S, _MOST_START_S = 0.3, 1.0


def spent(call: Callable[[], object]) -> tuple[float, float]:
    """Time by the clock and by the processor, s."""
    began, busy = time.perf_counter(), time.process_time()
    call()
    return time.perf_counter() - began, time.process_time() - busy


def test_the_page_over_a_thousand_flights(tmp_path: Path) -> None:
    card, root = tmp_path / "card", tmp_path / "book"
    card.mkdir()
    rows = text_of().splitlines()
    for number in range(FLIGHTS):
        own = [rows[0], *(rows[1:40]), rows[40 + number % 500], *rows[541:]]
        path = card / f"2024-01-01 {number:04d}.csv"
        path.write_text("\n".join(own).replace("8.0", f"8.0{number:04d}", 1) + "\n")
    add_files(Logbook(root), [card], aircraft="tern")
    flights = len(Logbook(root).flights("tern"))
    pages = tmp_path / "pages"
    kept = Rendered(pages)
    state = Logbook(root).state("tern")
    kept.keep(("aircraft", str(root), "tern", state), "<html>" + "x" * 400_000)
    fresh = Page(root, pages)  # as after a start: nothing is in memory
    first = spent(lambda: fresh.get("/aircraft/tern"))
    again = spent(lambda: fresh.get("/aircraft/tern"))
    assert len(fresh.get("/aircraft/tern").text) > 400_000
    busy = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
    began = time.perf_counter()
    words = [sys.executable, "-m", "telemetry", "open", "--book", str(root), "--no-browser"]
    process = subprocess.Popen(
        words,
        cwd=ROOT,
        env={**os.environ, "PYTHONUNBUFFERED": "1", "HOME": str(tmp_path)},
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    line = process.stdout.readline()
    told = time.perf_counter() - began
    clocked = float(Path(f"/proc/{process.pid}/stat").read_text().split()[13]) / 100
    host, query = re.search(r"http://([^/]+)/(\S+)", line).groups()
    connection = http.client.HTTPConnection(host, timeout=600)
    connection.request("GET", f"/{query}")
    answer = connection.getresponse()
    answer.read()
    cookie = (answer.headers["set-cookie"] or "").partition(";")[0]
    connection.request("GET", "/", headers={"cookie": cookie})
    with connection.getresponse() as listed:
        assert listed.status == 200
        listed.read()
    connection.close()
    shown = time.perf_counter() - began
    process.kill()
    process.communicate()
    spent_whole = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - busy
    print(f"\n{flights} flights                     clock, s   processor, s")
    print(f"start until the address is told  {told:8.2f} {clocked:14.2f}")
    print(f"until the list is shown          {shown:8.2f} {spent_whole:14.2f}")
    print(f"an aircraft's page, from disk    {first[0]:8.3f} {first[1]:14.3f}")
    print(f"an aircraft's page, from memory  {again[0]:8.3f} {again[1]:14.3f}")
    assert flights == FLIGHTS
    assert clocked < _MOST_START_S
    assert max(first[1], again[1]) < _MOST_PAGE_S
