"""``--scheduler`` with an address where no scheduler is: one sentence, soon, and exit code 2."""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

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
    monkeypatch.setattr("telemetry.app.cluster.client.PATIENCE_S", 0.3)
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
import telemetry.app.cluster.client as client
from telemetry.cli import main

client.PATIENCE_S = 1
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


def certificates(folder: Path, name: str, authority: str = "ca") -> dict[str, str]:
    """What Dask's configuration says of one who has these certificates."""
    return {
        "distributed.comm.tls.ca-file": str(folder / f"{authority}.pem"),
        "distributed.comm.tls.client.cert": str(folder / f"{name}.pem"),
        "distributed.comm.tls.client.key": str(folder / f"{name}-key.pem"),
    }


def test_certificates_that_cannot_be_used(run, log: Path, tmp_path: Path) -> None:
    tmp_path.joinpath("text.pem").write_text("no certificate")
    for name, why in (("gone", "No such file"), ("text", "certificate or crl found")):
        with dask.config.set(certificates(tmp_path, name, name)):
            result = run("review", log, "--scheduler", "tls://127.0.0.1:1")
        assert (result.exit_code, result.stdout) == (2, "")
        (line,) = result.stderr.splitlines()
        assert line.startswith("the certificates that Dask's configuration names cannot be used (")
        assert why in line


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two throw-away authorities, and who is signed by them: by the other one the stranger."""
    program = shutil.which("openssl")
    if program is None:
        pytest.skip("there is no openssl here")
    folder = tmp_path_factory.mktemp("tls")
    key = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]

    def openssl(*words: str) -> None:
        subprocess.run([program, *words], cwd=folder, check=True, capture_output=True)

    def new(name: str) -> list[str]:
        return [*key, "-subj", f"/CN={name}", "-keyout", f"{name}-key.pem"]

    for ca in ("ca", "other"):
        openssl("req", "-x509", *new(ca), "-out", f"{ca}.pem", "-days", "2")
    for name in ("scheduler", "worker", "client", "stranger"):
        ca = "other" if name == "stranger" else "ca"
        openssl("req", *new(name), "-out", f"{name}.csr")
        by = ["-CA", f"{ca}.pem", "-CAkey", f"{ca}-key.pem", "-CAcreateserial", "-days", "2"]
        openssl("x509", "-req", "-in", f"{name}.csr", *by, "-out", f"{name}.pem")
    return folder


@pytest.fixture(scope="module")
def encrypted(signed: Path) -> Iterator[str]:
    """Address of a cluster that takes only who is signed by its authority."""
    from distributed import LocalCluster
    from distributed.security import Security

    files: dict[str, Any] = {"tls_ca_file": str(signed / "ca.pem"), "require_encryption": True}
    for role in ("scheduler", "worker", "client"):
        files[f"tls_{role}_cert"] = str(signed / f"{role}.pem")
        files[f"tls_{role}_key"] = str(signed / f"{role}-key.pem")
    with LocalCluster(
        n_workers=1,
        threads_per_worker=1,
        processes=False,
        protocol="tls://",
        security=Security(**files),
        dashboard_address=":0",
    ) as cluster:
        yield cluster.scheduler_address


def test_a_review_over_tls_is_that_of_this_process(
    run, log: Path, signed: Path, encrypted: str
) -> None:
    with dask.config.set(certificates(signed, "client")):
        result = run("review", log, "--scheduler", encrypted)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == run("review", log).stdout


@pytest.mark.parametrize(("name", "authority"), [("stranger", "ca"), ("client", "other")])
def test_certificates_that_are_not_taken(
    name: str, authority: str, run, log: Path, signed: Path, encrypted: str
) -> None:
    with dask.config.set(certificates(signed, name, authority)):
        result = run("review", log, "--scheduler", encrypted)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"the scheduler at '{encrypted}' and this machine do not take each other's certificates, "
        "or it has none; what TLS needs is in: busbook guide cluster.\n"
    )


def test_an_encrypted_scheduler_asked_without_tls(
    run, log: Path, encrypted: str, monkeypatch
) -> None:
    monkeypatch.setattr("telemetry.app.cluster.client.PATIENCE_S", 0.3)
    result = run("review", log, "--scheduler", encrypted.replace("tls:", "tcp:"))
    assert (result.exit_code, result.stdout) == (2, "")
    (line,) = result.stderr.splitlines()
    assert line.startswith("no Dask scheduler answers at 'tcp://")


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
