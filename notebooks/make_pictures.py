"""Make the README's pictures anew from the sample logs: ``python notebooks/make_pictures.py``.

Needs Chromium on the PATH and, to make them small, Pillow (which matplotlib brings along).
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

import telemetry
from telemetry.report.html import render

ROOT = Path(__file__).parents[1]
PICTURES = ROOT / "notebooks" / "images"
LOG = Path("sample_logs/tern-flight-12.csv")


def screenshot(browser: str, page: Path, picture: Path, width: int, height: int) -> None:
    """Photograph the top of a page."""
    with tempfile.TemporaryDirectory() as profile:
        subprocess.run(
            [
                browser,
                "--headless",
                "--no-sandbox",
                "--disable-gpu",
                "--hide-scrollbars",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
                "--no-first-run",
                f"--user-data-dir={profile}",
                f"--window-size={width},{height}",
                f"--screenshot={picture}",
                page.as_uri(),
            ],
            check=True,
            capture_output=True,
        )
    with Image.open(picture) as image:
        image.convert("P", palette=Image.Palette.ADAPTIVE, colors=192).save(picture, optimize=True)


def main() -> None:
    """Review one sample log and photograph its report."""
    browser = shutil.which("chromium") or shutil.which("chrome")
    if browser is None:
        sys.exit("no Chromium found on the PATH: install it to make the pictures")
    PICTURES.mkdir(exist_ok=True)
    os.chdir(ROOT)
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "report.html"
        page.write_text(render(telemetry.review(telemetry.read_log(LOG))), encoding="utf-8")
        screenshot(browser, page, PICTURES / "report.png", 1180, 1240)
    print(f"wrote {PICTURES / 'report.png'}")


if __name__ == "__main__":
    main()
