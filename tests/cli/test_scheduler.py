"""``--scheduler``: a Dask cluster of two worker processes makes what this process makes."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import CancelledError
from pathlib import Path
from typing import Any

import pytest

from telemetry.app.cluster.client import ClusterExecutor, usable, watched
from telemetry.app.incoming.batch import add_files
from telemetry.app.workers import Crew, calls, crew_of, worker_gone
from telemetry.book import Logbook
from telemetry.model.errors import WorkersError

pytest.importorskip("distributed", reason="Dask is not installed")
ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of a cluster whose workers run in a folder that is not this process's."""
    folder = tmp_path_factory.mktemp("cluster")
    told = folder / "scheduler.json"
    common = ["--scheduler-file", str(told), "--no-dashboard"]
    env = os.environ | {
        "PYTHONPATH": str(ROOT),
        "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "0",
        "DASK_TEMPORARY_DIRECTORY": str(folder),
    }
    worker = ["worker", "--no-nanny", "--nthreads", "1", *common]
    commands = (
        ["scheduler", "--host", "127.0.0.1", "--port", "0", *common],
        [*worker, "--name", "one"],
        [*worker, "--name", "two"],
    )
    with (folder / "said.txt").open("wb") as said:
        running = [
            subprocess.Popen(
                [sys.executable, "-m", "dask", *command],
                cwd=folder,
                env=env,
                stdout=said,
                stderr=said,
            )
            for command in commands
        ]
        try:
            yield _ready(told, running)
        finally:
            for process in reversed(running):
                process.kill()
                process.wait()


def _ready(told: Path, running: list[subprocess.Popen[bytes]]) -> str:
    from distributed import Client

    deadline = time.monotonic() + 120
    while not (told.exists() and told.stat().st_size):
        assert time.monotonic() < deadline, "the scheduler does not start"
        assert all(process.poll() is None for process in running)
        time.sleep(0.05)
    address: str = json.loads(told.read_text())["address"]
    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=120)
    return address


@pytest.fixture
def logs(tmp_path: Path, log_text: str, faulty_text: str, monkeypatch) -> list[str]:
    """Relative names, as they are typed: two logs, a picture, and one that is not there."""
    monkeypatch.chdir(tmp_path)
    Path("card").mkdir()
    Path("card/evening.csv").write_text(log_text)
    Path("card/noon.csv").write_text(faulty_text)
    Path("card/broken.csv").write_bytes(b"\x89PNG\r\n\x1a\n....")
    return ["card/evening.csv", "card/broken.csv", "card/noon.csv", "card/gone.csv"]


def test_a_cluster_makes_what_this_process_makes(run, scheduler: str, logs: list[str]) -> None:
    """One test, so that one cluster is started however the tests are spread over processes."""
    the_reviews_are_the_same_byte_for_byte(run, scheduler, logs)
    the_book_and_the_history_are_the_same(run, scheduler, logs)
    a_folder_that_is_not_shared_is_named(scheduler)
    the_address_of_a_worker_is_none_of_a_scheduler(run, scheduler, logs)
    a_worker_that_dies_costs_its_log_alone(scheduler)


def the_reviews_are_the_same_byte_for_byte(run, scheduler: str, logs: list[str]) -> None:
    serial = run("review", *logs, "--json")
    shared = run("review", *logs, "--json", "--scheduler", scheduler)
    assert serial.exit_code == shared.exit_code == 2
    assert shared.stdout == serial.stdout
    assert shared.stderr == serial.stderr
    document = json.loads(shared.stdout)
    assert [r["log"]["file"] for r in document["reviews"]] == [logs[0], logs[2]]
    assert [e["message"].partition(":")[0] for e in document["errors"]] == [logs[1], logs[3]]
    serial = run("review", logs[2], "--out", "a")
    shared = run("review", logs[2], "--out", "b", "--scheduler", scheduler)
    assert shared.stdout == serial.stdout
    assert Path("b/noon.html").read_bytes() == Path("a/noon.html").read_bytes()


def contents(book: Path) -> dict[str, bytes]:
    """Every file of a book; the moment of adding, which no two runs share, is taken out."""
    moments = [r.added for r in Logbook(book).recordings()]
    found = {}
    for path in sorted(p for p in book.rglob("*") if p.is_file()):
        data = path.read_bytes()
        if path.suffix == ".parquet":
            data = Logbook(book).read(path.stem).frame.to_csv().encode()
        for moment in moments:
            data = data.replace(moment.encode(), b"T")
        if path.parent.name != "entries":  # which tell when each was written
            found[path.relative_to(book).as_posix()] = data
    return found


def the_book_and_the_history_are_the_same(run, scheduler: str, logs: list[str]) -> None:
    serial = run("add", *logs, "--aircraft", "tern", "--book", "one")
    shared = run("add", *logs, "--aircraft", "tern", "--book", "two", "--scheduler", scheduler)
    assert serial.exit_code == shared.exit_code == 2
    assert shared.stdout.replace("two", "one") == serial.stdout
    assert shared.stderr == serial.stderr
    assert "card/broken.csv: is a picture (PNG)" in shared.stderr
    one, two = contents(Path("one")), contents(Path("two"))
    assert len([name for name in one if name.endswith(".zst")]) == 2
    assert any(name.startswith("measures/") for name in one)
    assert two == one
    for measures in Path("two/measures").iterdir():
        measures.unlink()
    made = run("history", "tern", "--book", "two", "--json", "--scheduler", scheduler)
    assert made.stdout == run("history", "tern", "--book", "one", "--json").stdout
    known = ("review", logs[0], "--aircraft", "tern", "--json")
    assert (
        run(*known, "--book", "two", "--scheduler", scheduler).stdout
        == run(*known, "--book", "one").stdout
    )


def a_folder_that_is_not_shared_is_named(scheduler: str) -> None:
    nowhere = Path(Path.cwd().anchor, "no such folder")
    words = "does not see this path; a cluster needs"
    with (
        pytest.raises(WorkersError, match=words) as caught,
        crew_of(1, scheduler, [nowhere]),
    ):
        pass
    assert str(caught.value).startswith(f"{nowhere}: the worker at tcp://127.0.0.1:")


def the_address_of_a_worker_is_none_of_a_scheduler(run, scheduler: str, logs: list[str]) -> None:
    from distributed import Client

    with Client(scheduler, set_as_default=False) as client:
        worker = next(iter(client.nthreads()))
    result = run("review", logs[0], "--scheduler", worker)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"at '{worker}' answers no Dask scheduler but a worker; give the address that the "
        "scheduler tells when it starts.\n"
    )


def a_worker_that_dies_costs_its_log_alone(scheduler: str) -> None:
    with crew_of(1, scheduler) as crew:
        assert crew.pending == 4
        dies, lives = calls(_act, ["die", "live"], crew)
        with pytest.raises(WorkersError, match="the worker that should read it has ended; try"):
            dies()
        assert lives() == "live"


def _act(what: str) -> str:
    if what == "die":
        os._exit(1)
    return what


def test_a_scheduler_that_has_gone_is_told_for_each_log(tmp_path: Path) -> None:
    """Work under way is cancelled, and no more is taken: neither is a fault of this program."""
    from distributed.utils import CancelledError as Lost

    class Gone:
        status = "closed"

        def get_executor(self, **_: Any) -> Any:
            return self

        def submit(self, *_: Any) -> Any:
            if self.status == "running":
                raise TypeError("cannot be sent")
            raise RuntimeError("Client is closed")

    gone: Any = Gone()
    words = "the cluster has gone: its scheduler does not answer, or has no worker left; see"
    for call in calls(_act, ["live", "live"], Crew(ClusterExecutor(gone), 1)):
        with pytest.raises(WorkersError, match=words):
            call()
    for name in ("a.csv", "b.csv"):
        tmp_path.joinpath(name).write_text(name)
    book = Logbook(tmp_path / "book")
    outcomes = add_files(book, [tmp_path], executor=ClusterExecutor(gone), aircraft="tern")
    assert [one.status for one in outcomes] == ["failed", "failed"]
    assert all("cluster has gone" in one.reason for one in outcomes)
    gone.submit = lambda *_: pytest.fail("work was given to a client that is closing")
    with pytest.raises(CancelledError):
        ClusterExecutor(gone).submit(_act, "live")
    del gone.submit
    assert worker_gone(Lost())
    gone.status = "running"
    with pytest.raises(TypeError, match="cannot be sent"):
        ClusterExecutor(gone).submit(_act, "live")


@pytest.mark.parametrize(
    ("workers", "closed"),
    [([2, 1], False), ([2, 0, 1, 0, 1], False), ([2, 0], True), ([0], True)],
)
def test_a_cluster_without_a_worker_is_not_waited_for(
    workers: list[int], closed: bool, monkeypatch
) -> None:
    """Looked at again and again; one that ended may be started anew before the next look."""
    looked, shut = threading.Event(), threading.Event()

    class Watched:
        status = "running"

        def nthreads(self) -> dict[str, int]:
            left = workers.pop(0) if len(workers) > 1 else workers[0]
            if len(workers) == 1:
                looked.set()
            return {f"worker {n}": 1 for n in range(left)}

        def close(self, **_: float) -> None:
            self.status = "closed"
            shut.set()

    monkeypatch.setattr("telemetry.app.cluster.client.PATIENCE_S", 0.01)
    client: Any = Watched()
    with watched(client):
        assert looked.wait(30)
        assert shut.wait(30 if closed else 0.1) is closed


def test_a_scheduler_that_does_not_answer_ends_the_watch_in_silence(monkeypatch) -> None:
    asked = threading.Event()

    class Silent:
        status = "running"

        def nthreads(self) -> dict[str, int]:
            asked.set()
            raise OSError("timed out")

    monkeypatch.setattr("telemetry.app.cluster.client.PATIENCE_S", 0.01)
    silent: Any = Silent()
    with watched(silent):  # a thread that fails is an error of the test
        assert asked.wait(30)


def test_without_dask(run, log: Path, monkeypatch, tmp_path: Path) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    for command in (
        ("review", log),
        ("add", log, "--aircraft", "tern", "--book", tmp_path / "book"),
    ):
        result = run(*command, "--scheduler", "tcp://127.0.0.1:9")
        assert (result.exit_code, result.stdout) == (2, "")
        assert result.stderr == (
            "--scheduler needs Dask, which is not installed; install it with: python -m pip "
            "install 'dask[distributed]>=2024.12'.\n"
        )


def test_workers_and_scheduler_exclude_each_other(run, log: Path) -> None:
    result = run("review", log, "--scheduler", "x", "--workers", "2")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == "--workers and --scheduler exclude each other; give one.\n"


def test_dask_is_not_imported_until_it_is_asked_for() -> None:
    program = (
        "import sys, telemetry.cli, telemetry.app.jobs, telemetry.app.histories;"
        "import telemetry.app.workers;"
        "print(*sorted(m for m in sys.modules if m in ('dask', 'distributed', 'tornado')))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout == "\n"


class Cluster:
    """Stands for a client: what its workers say of themselves."""

    def __init__(self, said: Any) -> None:
        self.said = said

    def run_on_scheduler(self, look: Any, names: list[str]) -> None:
        look(names)

    def run(self, *_: Any) -> Any:
        if isinstance(self.said, Exception):
            raise self.said
        return self.said


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (
            {},
            "the scheduler at 'a' has no workers; start some with: dask worker a --nthreads 1 --nw",
        ),
        ({"w": ("busbook 0.0.1", [])}, "the worker at w has busbook 0.0.1, this is "),
        (ModuleNotFoundError("No module named 'telemetry'"), "cannot run busbook .No module named"),
    ],
)
def test_workers_that_cannot_do_it(said: Any, words: str) -> None:
    with pytest.raises(WorkersError, match=words):
        usable(Cluster(said), "a", [])


def test_local_processes_review_as_this_one_does(run, logs: list[str]) -> None:
    serial = run("review", *logs, "--out", "a", "--format", "pdf")
    shared = run("review", *logs, "--out", "b", "--format", "pdf", "--workers", "2")
    assert (shared.exit_code, shared.stdout) == (serial.exit_code, serial.stdout)
    for name in ("evening.pdf", "noon.pdf"):
        assert Path("b", name).read_bytes() == Path("a", name).read_bytes()


def test_calls_are_no_further_ahead_than_asked_for() -> None:
    from concurrent.futures import Executor, Future

    begun: list[int] = []

    class Spy(Executor):
        def submit(self, fn: Any, /, *args: Any, **_: Any) -> Future[Any]:
            if args == (7,):
                raise RuntimeError("closed")
            begun.append(*args)
            future: Future[Any] = Future()
            future.set_result(fn(*args))
            return future

    found = []
    for number, call in enumerate(calls(str, range(9), Crew(Spy(), 3))):
        assert len(begun) <= number + 4
        if number == 7:
            with pytest.raises(RuntimeError, match="closed"):
                call()
        else:
            found.append(call())
    assert found == ["0", "1", "2", "3", "4", "5", "6", "8"]
