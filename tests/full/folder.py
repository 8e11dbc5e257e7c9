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
import importlib.metadata
import os
import platform
import re
import shutil
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))  # works from the sources as well as installed

from tests.full.folder_trying import NAME, bare_root, tried  # noqa: E402

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


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--out", type=Path, help="keep the folder here")
    given = parser.parse_args()
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
