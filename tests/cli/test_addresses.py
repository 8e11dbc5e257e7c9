"""``--scheduler`` with an address where no scheduler is: one sentence, soon, and exit code 2."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

pytest.importorskip("distributed", reason="Dask is not installed")
import dask

ROOT = Path(__file__).parents[2]
NO_ADDRESS = (
    "",
    " ",
    "x",
    "127.0.0.1",
    "tcp://",
    "tcp://:8786",
    "tcp://127.0.0.1",
    "tcp://127.0.0.1:abc",
    "tcp://127.0.0.1:0",
    "tcp://127.0.0.1:-1",
    "tcp://127.0.0.1:99999",
    "tcp://127.0.0.1:8786/x",
    "tcp://[::1",
    "tcp://::1:8786",
    "tcp://a..b:8786",
    "tcp://" + "a" * 70 + ":8786",
    "tcp://a\nb:8786",
    "tcp://tcp://127.0.0.1:8786",
    "://127.0.0.1:8786",
    "http://127.0.0.1:1",
    "foo://bar",
    "nonsense://x",
    "inproc://x",
    "inproc://127.0.0.1/1/1",
    "ucx://127.0.0.1:1",
    "/tmp/x.json",
    "C:\\scheduler.json",
)


@pytest.mark.parametrize("address", NO_ADDRESS)
def test_what_is_no_address(address: str, run, log: Path) -> None:
    """Told by its form alone: Dask is not asked to reach it."""
    result = run("review", log, "--scheduler", address)
    assert (result.exit_code, result.stdout) == (2, "")
    (line,) = result.stderr.splitlines()
    assert line.endswith(
        "is no address of a Dask scheduler; give protocol (tcp, tls, ws or wss), host and port, "
        "as in tcp://192.0.2.10:8786."
    )


@pytest.mark.parametrize(
    "address", ["tcp://127.0.0.1:1", "127.0.0.1:1", "tcp://[::1]:1", "ws://127.0.0.1:1"]
)
def test_where_nobody_listens(address: str, run, log: Path, monkeypatch) -> None:
    monkeypatch.setattr("telemetry.app.workers._PATIENCE_S", 0.3)
    result = run("review", log, "--scheduler", address)
    assert (result.exit_code, result.stdout) == (2, "")
    (line,) = result.stderr.splitlines()
    assert line.startswith(f"no Dask scheduler answers at '{address}' within 0.3 s; check the")


def ended(command: list[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=60
    )


@contextmanager
def stranger(talks: Callable[[socket.socket], None]) -> Iterator[int]:
    """A port where something else listens."""
    over = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.05)

        def serve() -> None:
            held = []  # or each would be closed as soon as it is forgotten
            while not over.is_set():
                try:
                    held.append(server.accept()[0])
                    talks(held[-1])
                except OSError:
                    continue
            for one in held:
                one.close()

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield server.getsockname()[1]
        finally:
            over.set()
            thread.join()


STRANGERS: dict[str, tuple[str, Callable[[socket.socket], None]]] = {
    "silent": ("tcp", lambda _: None),
    "silent web": ("ws", lambda _: None),
    "closes": ("tcp", lambda one: one.close()),
    "a web server": (
        "tcp",
        lambda one: one.sendall(b"HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n"),
    ),
    "noise": ("tcp", lambda one: one.sendall(b"\xff" * 100)),
}

# One command after the other, as they are given on a line; each exit code on a line of its own.
IMPATIENT = """
import sys
import telemetry.app.workers as workers
from telemetry.cli import main

workers._PATIENCE_S = 1
for address in sys.argv[2:]:
    try:
        main(["review", sys.argv[1], "--scheduler", address])
    except SystemExit as left:
        print(left.code)
"""


def test_nothing_else_is_printed_up_to_the_end_of_python(log: Path) -> None:
    """Where a stranger listens, and elsewhere: in a process of its own, to its end."""
    with ExitStack() as stack:
        addresses = [
            f"{protocol}://127.0.0.1:{stack.enter_context(stranger(talks))}"
            for protocol, talks in STRANGERS.values()
        ]
        elsewhere = ["http://127.0.0.1:1", "tls://127.0.0.1:1"]
        command = [sys.executable, "-c", IMPATIENT, str(log), *addresses, *elsewhere]
        done = ended(command)
    lines = done.stderr.splitlines()
    assert (done.returncode, done.stdout.split()) == (0, ["2"] * 7)
    assert len(lines) == 7, done.stderr
    for address, line in zip(addresses, lines[:5], strict=True):
        assert line.startswith(f"no Dask scheduler answers at '{address}' within 1 s; check the")
    assert "'http://127.0.0.1:1' is no address of a Dask scheduler" in lines[5]
    assert lines[6].startswith("'tls://127.0.0.1:1' needs certificates")


def test_tls_without_certificates(run, log: Path) -> None:
    for protocol in ("tls", "wss"):
        result = run("review", log, "--scheduler", f"{protocol}://127.0.0.1:1")
        assert (result.exit_code, result.stdout) == (2, "")
        assert result.stderr == (
            f"'{protocol}://127.0.0.1:1' needs certificates, and Dask's configuration names none; "
            "what TLS needs is in: busbook guide cluster.\n"
        )


def test_certificates_that_cannot_be_used(run, log: Path, tmp_path: Path) -> None:
    tmp_path.joinpath("ca.pem").write_text("no certificate")
    for name in ("gone.pem", "ca.pem"):
        file = str(tmp_path / name)
        named = {"distributed.comm.tls": {"ca-file": file, "client": {"cert": file, "key": file}}}
        with dask.config.set(named):
            result = run("review", log, "--scheduler", "tls://127.0.0.1:1")
        assert (result.exit_code, result.stdout) == (2, "")
        (line,) = result.stderr.splitlines()
        assert line.startswith("the certificates that Dask's configuration names cannot be used")


def test_encryption_that_is_wanted_and_not_there(run, log: Path) -> None:
    with dask.config.set({"distributed.comm.require-encryption": True}):
        result = run("review", log, "--scheduler", "tcp://127.0.0.1:1")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("Dask's configuration wants encryption, and 'tcp://127.0.0.1:1")


def test_a_loader_of_certificates_that_fails(run, log: Path) -> None:
    with dask.config.set({"distributed.client.security-loader": "no_such_module.loader"}):
        result = run("review", log, "--scheduler", "tls://127.0.0.1:1")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "cannot be used (No module named 'no_such_module')" in result.stderr
