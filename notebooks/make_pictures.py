"""Make the README's pictures anew: ``python notebooks/make_pictures.py``.

From the sample logs and an invented season, all of them computed. Needs Chromium on the PATH and,
to make the pictures small, Pillow (which matplotlib brings along).
"""

from __future__ import annotations

import html
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).parents[1]
PICTURES = ROOT / "notebooks" / "images"
LOG = "sample_logs/tern-flight-12.csv"
# A screen of plain characters, as a page.
SCREEN = (
    "<!doctype html><meta charset=utf-8><style>body { margin: 0; background: #14181c; color: "
    "#f0f0f0; } pre { font: 14px/1.35 'DejaVu Sans Mono', monospace; margin: 16px 18px; }</style>"
    "<pre>$ {command}\n{text}</pre>"
)


def busbook(*words: str) -> str:
    """What a command prints."""
    done = subprocess.run(
        [sys.executable, "-m", "telemetry", *words],
        check=True,
        capture_output=True,
        text=True,
        encoding="utf-8",
    )
    return done.stdout


def photograph(browser: str, page: Path, picture: str, width: int, height: int) -> None:
    """Photograph the top of a page."""
    path = PICTURES / picture
    with tempfile.TemporaryDirectory() as profile:
        flags = (
            *("--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"),
            *("--disable-background-networking", "--disable-component-update"),
            *("--disable-sync", "--no-first-run", f"--user-data-dir={profile}"),
            *(f"--window-size={width},{height}", f"--screenshot={path}"),
        )
        subprocess.run([browser, *flags, page.as_uri()], check=True, capture_output=True)
    with Image.open(path) as image:
        image.convert("P", palette=Image.Palette.ADAPTIVE, colors=128).save(path, optimize=True)
    print(f"wrote {path.relative_to(ROOT)}, {path.stat().st_size / 1000:.0f} kB")


def screen(folder: Path, command: Sequence[str], lines: int) -> Path:
    """A page that shows the first lines that a command prints."""
    text = "\n".join(busbook(*command).splitlines()[:lines])
    path = folder / "screen.html"
    page = SCREEN.replace("{command}", html.escape("busbook " + " ".join(command)))
    path.write_text(page.replace("{text}", html.escape(text)), encoding="utf-8")
    return path


def main() -> None:
    """Review a log, judge a season, and photograph what comes out."""
    browser = shutil.which("chromium") or shutil.which("chrome")
    if browser is None:
        sys.exit("no Chromium found on the PATH: install it to make the pictures")
    PICTURES.mkdir(exist_ok=True)
    os.chdir(ROOT)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ["BUSBOOK"] = str(folder / "book")
        photograph(browser, screen(folder, ("review", LOG), 34), "terminal.png", 740, 710)
        busbook("review", "sample_logs", "--out", str(folder))
        photograph(browser, folder / "tern-flight-12.html", "report.png", 1180, 1180)
        photograph(browser, folder / "index.html", "index.png", 1180, 640)
        busbook("demo", str(folder / "season"))
        season = sorted(str(p) for p in (folder / "season").glob("tern-*.csv"))
        busbook("add", *season, "--aircraft", "tern")
        busbook("history", "tern", "--out", str(folder), "--reviews", "0")
        photograph(browser, folder / "tern-history.html", "history.png", 1180, 1200)


if __name__ == "__main__":
    main()
