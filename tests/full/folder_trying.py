"""The folder that starts with a double click, started where there is no Python (see folder.py).

On Linux below a root of its own that holds the C library and zlib alone, elsewhere without a PATH.
Run by itself it becomes the program below such a root.
"""

from __future__ import annotations

import ctypes
import html
import http.client
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

# What the folder and its program are called.
NAME = "busbook-page"
LOG = Path(__file__).parents[2] / "sample_logs" / "tern-flight-12.csv"
_PATIENCE_S = 300.0


def below_a_root(root: Path, program: Path, words: list[str]) -> None:
    """Become the program, below a root that holds the C library, zlib and nothing more."""
    mount = ctypes.CDLL(None, use_errno=True).mount
    for name in ("dev", "proc"):
        (root / name).mkdir(exist_ok=True)
        if mount(f"/{name}".encode(), str(root / name).encode(), None, 0x1000 | 0x4000, None):
            raise OSError(ctypes.get_errno(), f"/{name} cannot be shown there")
    os.chroot(root)
    os.chdir("/home")
    os.execve(program, [str(program), *words], {"HOME": "/home", "PATH": ""})


def bare_root(root: Path) -> None:
    """Fill a root with what the start file itself asks for: the C library and zlib."""
    loaders = list(Path("/").glob("lib*/ld-linux*.so*")) + list(Path("/").glob("lib/*/ld-linux*"))
    maps = Path("/proc/self/maps").read_text(encoding="utf-8")
    folder = Path(re.findall(r"(/\S+)/libc\.so\.6", maps)[0])
    parts = ("c", "m", "dl", "pthread", "rt", "util", "resolv", "anl", "mvec", "nss_files", "z")
    libraries = [p for part in parts for p in folder.glob(f"lib{part}.so.*")]
    for path in (*loaders, *libraries):
        target = root / path.relative_to("/")
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(path.resolve(), target)
    for name in ("tmp", "home"):
        (root / name).mkdir()


class Started:
    """The folder's program, started where there is no Python; ended with its block."""

    def __init__(self, place: Path, whole: Path, words: list[str]) -> None:
        self.home = place / "home"
        if sys.platform == "linux":
            program = Path("/") / whole.relative_to(place) / NAME
            inner = [str(place), str(program), *words]
            below = [sys.executable, str(Path(__file__)), json.dumps(inner)]
            command, env = ["unshare", "-r", "-m", *below], dict(os.environ)
            folder = self.home / ".config"
        else:
            program = next(p for p in (whole / f"{NAME}.exe", whole / NAME) if p.exists())
            kept = ("SYSTEMROOT", "TEMP", "TMP")
            env = {k: v for k, v in os.environ.items() if k.upper() in kept}
            env |= {"HOME": str(self.home), "APPDATA": str(self.home), "PATH": ""}
            command = [str(program), *words]
            mac = sys.platform == "darwin"
            folder = self.home / "Library" / "Application Support" if mac else self.home
        self.told = folder / f"{NAME}.txt"
        self.process = subprocess.Popen(
            command,
            cwd=self.home,
            env=env,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
        )

    def __enter__(self) -> Started:
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is not None:
            with suppress(subprocess.TimeoutExpired):
                self.process.wait(20)
            print(self.said())
        self.process.kill()
        self.process.wait()

    def said(self) -> str:
        return self.told.read_text(encoding="utf-8") if self.told.exists() else ""

    def address(self) -> str:
        until = time.monotonic() + _PATIENCE_S
        while time.monotonic() < until and self.process.poll() is None:
            found = re.search(r"http://\S+", self.said())
            if found:
                return found[0]
            time.sleep(0.02)
        raise SystemExit(f"it did not start ({self.process.poll()}): {self.said()}")


class Asked:
    """The page, asked as a browser asks it."""

    def __init__(self, address: str) -> None:
        self.host, _, key = address.removeprefix("http://").partition("/")
        self.cookie = ""
        status, headers, _ = self.ask("GET", f"/{key}")
        assert status == 303, status
        self.cookie = headers["set-cookie"].partition(";")[0]

    def ask(
        self, method: str, path: str, body: bytes = b"", kind: str = ""
    ) -> tuple[int, dict[str, str], str]:
        connection = http.client.HTTPConnection(self.host, timeout=_PATIENCE_S)
        headers = {"cookie": self.cookie, "origin": f"http://{self.host}"}
        if kind:
            headers["content-type"] = kind
        connection.request(method, path, body=body or None, headers=headers)
        answer = connection.getresponse()
        text = answer.read().decode()
        connection.close()
        return answer.status, {k.lower(): v for k, v in answer.getheaders()}, text

    def page(self, path: str) -> str:
        status, _, text = self.ask("GET", path)
        if status != 200:
            raise SystemExit(f"{path}: {status}: {words_of(text)[:400]}")
        return text

    def drop(self, log: Path) -> None:
        part = f'--x\r\nContent-Disposition: form-data; name="logs"; filename="{log.name}"\r\n\r\n'
        body = part.encode() + log.read_bytes() + b"\r\n--x--\r\n"
        status, headers, text = self.ask("POST", "/drop", body, "multipart/form-data; boundary=x")
        assert (status, headers.get("location")) == (303, "/work"), (status, words_of(text))


def words_of(page: str) -> str:
    """The words of a page, without what styles and scripts hold."""
    bare = re.sub(r"(?s)<(style|script|svg).*?</\1>", " ", page)
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", bare)).split())


def tried(whole: Path, place: Path) -> None:
    """Start it, drop a log, look at the flight, end it; then a book that cannot be opened."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    begun = time.monotonic()
    with Started(place, whole, ["--no-browser", "--port", str(port)]) as started:
        page = Asked(started.address())
        assert "The book is empty" in page.page("/")
        print(f"the first page answers {time.monotonic() - begun:.1f} s after the start")
        assert "voltage" in page.page("/guide/limits")
        page.drop(LOG)
        until = time.monotonic() + _PATIENCE_S
        while "Everything that came is done" not in words_of(work := page.page("/work")):
            assert time.monotonic() < until, words_of(work)
            time.sleep(0.5)
        name = re.search(r'href="/aircraft/([^"]+)"', work)
        assert name, words_of(work)
        figures = page.page(f"/aircraft/{name[1]}/flights/1").count("<svg")
        assert figures > 3, "the report has no figures"
        print(f"{LOG.name} dropped and added to {name[1]}; its report has {figures} figures")
        page.page(f"/aircraft/{name[1]}/sheet")
        status, _, text = page.ask("POST", "/stop")
        assert (status, "busbook is closed" in text) == (200, True)
        assert started.process.wait(60) == 0
        assert started.said().endswith("what was added is in the book.\n")
    other = started.home / "other"
    other.mkdir()
    (other / "x.txt").write_text("x", encoding="utf-8")
    with Started(place, whole, ["--book", str(Path("other"))]) as wrong:
        assert wrong.process.wait(_PATIENCE_S) == 2
        assert "this folder is no logbook" in wrong.said()
    print("a book that cannot be opened is told in a sentence")


if __name__ == "__main__":
    root, program, *words = json.loads(sys.argv[1])
    below_a_root(Path(root), Path(program), words)
