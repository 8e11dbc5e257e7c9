"""Make the folder that starts with a double click, for the platform this runs on, and try it.

    python tests/full/folder.py [--out DIR]

PyInstaller puts the interpreter, busbook and what it needs from the registry into one folder; a
fresh environment holds nothing else. The folder is then started where there is no Python: on
Linux below a root of its own that holds the C library and zlib alone, elsewhere without a PATH. A
log is dropped on the page and looked at. Exits with 1 where something fails; `--out` keeps the
folder. Windows and macOS build theirs with the same command on a machine of their own.
"""

from __future__ import annotations

import argparse
import ctypes
import html
import http.client
import importlib.metadata
import json
import os
import platform
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import venv
from contextlib import suppress
from pathlib import Path

ROOT = Path(__file__).parents[2]
NAME = "busbook-page"
LOG = ROOT / "sample_logs" / "tern-flight-12.csv"
_PATIENCE_S = 300.0

# What the program never asks for, though a library could: other windows, other drawers, tests.
LEFT_OUT = (
    "tkinter",
    "readline",
    "curses",
    "dask",
    "distributed",
    "IPython",
    "pytest",
    "setuptools",
    "pip",
    "pyarrow.flight",
    "pyarrow._flight",
    "pyarrow._s3fs",
    "pyarrow._gcsfs",
    "pyarrow._azurefs",
    "pyarrow._hdfs",
    "pyarrow.orc",
    "pyarrow._orc",
    "pyarrow.tests",
    "pandas.tests",
    "matplotlib.tests",
)
# The same among files: libraries and headers that nothing above loads.
_NOT_NEEDED = (
    "pyarrow/*arrow_flight*",
    "pyarrow/*arrow_s3*",
    "pyarrow/_s3fs*",
    "pyarrow/include",
    "pyarrow/tests",
    "pyarrow/**/*.px[di]",
    "matplotlib/mpl-data/sample_data",
    "pandas/tests",
)
# Loaded by name when a figure is kept.
_DRAWN_BY = ("agg", "svg", "pdf")

START = '''"""Opens the page of busbook."""

import os
import sys
from contextlib import suppress
from multiprocessing import freeze_support

# Fonts are looked for once and the list is kept, as where busbook is installed.
with suppress(KeyError, OSError):
    os.rmdir(os.environ.pop("MPLCONFIGDIR"))
# A worker that reads logs is this program again: it goes on here and no further.
freeze_support()
# What this starts, the browser above all, loads the system's own libraries; a worker finds its own.
os.environ["PYINSTALLER_RESET_ENVIRONMENT"] = "1"
for name in ("LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH"):
    before = os.environ.pop(f"{name}_ORIG", None)
    os.environ.pop(name, None)
    if before is not None:
        os.environ[name] = before

from telemetry.cli.opening import clicked

sys.exit(clicked(sys.argv[1:]))
'''

COMMAND = f"""#!/bin/sh
# Opens the page of busbook.
exec "$(dirname "$0")/{NAME}"
"""

# %k is where this entry lies (Desktop Entry Specification, "The Exec key").
ENTRY = rf"""[Desktop Entry]
Type=Application
Version=1.0
Name=busbook
Comment=How the radio power of your aircraft stands
Exec=sh -c "exec \\"\\$(dirname \\"\\$0\\")/{NAME}\\"" %k
Terminal=false
Categories=Utility;
"""

README = """busbook {version}: the logbook for the power bus of large model aircraft, as a page

Start
    {start}
    Your browser opens the page. Drop the logs of a memory card on it, or press
    "Try it with an invented season". Everything stays on this computer. The button
    "Close busbook" at the end of the first page ends it.

What it says of an aircraft is advice from a log. It replaces no inspection. The
rules of your federation, club and site, the data sheets of your parts, and those
who sign an aircraft off go before it. Nothing that it writes means "safe to fly".

Not signed
    Nobody has signed this program, so your system cannot tell who made it.
    {unsigned}
    Start it only if you have it from somebody you trust, or have made it yourself
    from the sources: python tests/full/folder.py

Where things lie
    The book:
        {book}
    What busbook has to say; where an error ends it, this opens in the browser:
        {told}
    To start busbook with another book, or to have a sign on your desktop, give the
    start file the options of "busbook open": --book DIR, --shortcut.
    To remove busbook, delete this folder; the book stays.

Made on
    {machine}. It runs on such systems{oldest}.

Licences
    busbook: MIT. The folder "licences" holds the texts of all that is inside:
{packages}
"""

_STARTS = {
    "win32": f"Double-click {NAME}.exe.",
    "darwin": "Double-click busbook.command.",
    "linux": f"Double-click {NAME}. Where your file manager asks, choose to run it;\n"
    "    where it runs no programs, take busbook.desktop and allow it to be launched.",
}
_UNSIGNED = {
    "win32": 'Windows warns at the first start ("unknown publisher"): "More info" leads on.',
    "darwin": "macOS refuses the first start: allow it in the settings, Privacy & Security.",
    "linux": "Most file managers want the file's permission to be run, which it has.",
}
_BOOKS = {
    "win32": ("%APPDATA%\\busbook", "%APPDATA%\\busbook-page.txt"),
    "darwin": (
        "~/Library/Application Support/busbook",
        "~/Library/Application Support/busbook-page.txt",
    ),
    "linux": ("~/.config/busbook", "~/.config/busbook-page.txt"),
}


def options(system: str) -> list[str]:
    """What PyInstaller is told, for a system as ``sys.platform`` names it."""
    words = ["--noconfirm", "--onedir", "--name", NAME, "--log-level", "WARN"]
    # The program loads much of itself by name, and reads its guide, templates and words as files.
    for what in ("--collect-submodules", "--collect-data"):
        words += [what, "telemetry"]
    words += ["--copy-metadata", "busbook"]
    for drawer in _DRAWN_BY:
        words += ["--hidden-import", f"matplotlib.backends.backend_{drawer}"]
    for module in LEFT_OUT:
        words += ["--exclude-module", module]
    # On macOS a window of the terminal shows what is told; Windows would open an empty one.
    return [*words, "--noconsole"] if system == "win32" else words


def made(folder: Path) -> Path:
    """Build below a folder; the folder to give away."""
    venv.create(folder / "env", with_pip=True)
    scripts = folder / "env" / ("Scripts" if sys.platform == "win32" else "bin")
    python = scripts / "python"
    subprocess.run([python, "-m", "pip", "install", "-q", f"{ROOT}[folder]"], check=True)
    start = folder / f"{NAME}.py"
    start.write_text(START, encoding="utf-8")
    command = [python, "-m", "PyInstaller", *options(sys.platform), start.name]
    subprocess.run(command, cwd=folder, check=True)
    whole = folder / "dist" / NAME
    inside = next(p for p in whole.iterdir() if p.is_dir())
    for pattern in _NOT_NEEDED:
        for path in list(inside.glob(pattern)):
            shutil.rmtree(path) if path.is_dir() else path.unlink()
    for path in inside.iterdir():
        if path.is_symlink() and not path.exists():  # it led to one of those
            path.unlink()
    (place,) = (folder / "env").rglob("site-packages")
    packages = kept_licences(whole / "licences", place, inside)
    own = next(importlib.metadata.distributions(path=[str(place)], name="busbook"))
    write_readme(whole, own.version, packages)
    if sys.platform == "darwin":
        (whole / "busbook.command").write_text(COMMAND, encoding="utf-8")
        (whole / "busbook.command").chmod(0o755)
    elif sys.platform != "win32":
        (whole / "busbook.desktop").write_text(ENTRY, encoding="utf-8")
        (whole / "busbook.desktop").chmod(0o755)
    return whole


def kept_licences(folder: Path, site: Path, inside: Path) -> list[str]:
    """Write the licence texts of all that is inside; a line for each."""
    folder.mkdir()
    listed = []
    for one in importlib.metadata.distributions(path=[str(site)]):
        name = one.metadata["Name"]
        if name in ("pip", "setuptools") or name.lower().startswith("pyinstaller-hooks"):
            continue
        texts = [p for p in one.files or () if re.match(r"(?i)(licen[cs]e|copying|notice)", p.name)]
        words = "\n\n".join(Path(str(p.locate())).read_text("utf-8", "replace") for p in texts)
        kind = licence_named(one) or "see its text"
        (folder / f"{name}.txt").write_text(f"{name} {one.version}: {kind}\n\n{words}\n", "utf-8")
        listed.append(f"    {name} {one.version}: {kind}")
    base = Path(sys.base_prefix)
    places = (base / "LICENSE.txt", base / "LICENSE", Path(os.__file__).parent / "LICENSE.txt")
    for text in [p for p in places if p.exists()][:1]:
        shutil.copyfile(text, folder / "Python.txt")
    listed.append(f"    Python {platform.python_version()}: PSF-2.0")
    listed.sort(key=str.lower)
    # Libraries of the system that Python and the packages load, by the name of their files.
    own = sorted(
        p.name
        for p in inside.glob("*.so*")
        if not p.name.startswith("libpython") and not p.is_symlink()
    )
    if own:
        listed.append("    Of the system it was made on, each under its own licence:")
    for name in own:
        text = system_licence(name)
        if text is not None:
            shutil.copyfile(text, folder / f"{name}.txt")
        listed.append(f"    {name}")
    return listed


def licence_named(package: importlib.metadata.Distribution) -> str:
    """The licence of a package in a few words, as its metadata names it; "" where it names none."""
    kinds = package.metadata.get_all("Classifier") or []
    kinds = [k.rpartition(":: ")[2] for k in kinds if k.startswith("License ::")]
    named = [v for k, v in package.metadata.items() if k in ("License-Expression", "License")]
    told = (*named, ", ".join(kinds))
    return next((k for k in told if k and "\n" not in k), "")


def system_licence(library: str) -> Path | None:
    """The licence of a library of this system, where its packages tell (Debian and its kin)."""
    asked = shutil.which("dpkg-query")
    if asked is None:
        return None
    told = subprocess.run(
        [asked, "-S", f"*/{library}"], capture_output=True, text=True, check=False
    ).stdout
    packages = dict.fromkeys(re.findall(r"^([^:,\s]+)[:,]", told, re.M))
    texts = (Path("/usr/share/doc") / package / "copyright" for package in packages)
    return next((p for p in texts if p.exists()), None)


def write_readme(whole: Path, made: str, packages: list[str]) -> None:
    """Say what the folder is, and what its user should know."""
    system = sys.platform if sys.platform in _STARTS else "linux"
    book, told = _BOOKS[system]
    libc, version = platform.libc_ver()
    text = README.format(
        version=made,
        start=_STARTS[system],
        unsigned=_UNSIGNED[system],
        book=book,
        told=told,
        machine=f"{platform.system()} {platform.machine()}",
        oldest=f" with {libc} {version} or newer, and zlib" if system == "linux" and libc else "",
        packages="\n".join(packages),
    )
    (whole / "README.txt").write_text(text, encoding="utf-8")


# Tried where there is no Python.


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
            below = [sys.executable, str(Path(__file__)), "--below", json.dumps(inner)]
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


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--out", type=Path, help="keep the folder here")
    parser.add_argument("--below", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.below:
        root, program, *words = json.loads(given.below)
        below_a_root(Path(root), Path(program), words)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        whole = made(folder)
        size = sum(p.stat().st_size for p in whole.rglob("*") if p.is_file() and not p.is_symlink())
        count = sum(p.is_file() for p in whole.rglob("*"))
        print(f"{NAME}: {size / 1e6:.0f} MB, {count} files")
        if given.out:
            shutil.copytree(whole, given.out / NAME, symlinks=True)
        # A folder with a space in its name, as those of many people have.
        place = folder / "clean"
        place.mkdir()
        if sys.platform == "linux":
            bare_root(place)
        else:
            (place / "home").mkdir()
        (place / "my programs").mkdir()
        tried(whole.rename(place / "my programs" / NAME), place)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
