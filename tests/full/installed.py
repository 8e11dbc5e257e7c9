"""Build the wheel, install it into an empty environment, and review the sample logs with it.

    python tests/full/installed.py

Only the declared dependencies are there, and the working folder is elsewhere: nothing can come
from the sources. Prints what was checked; exits with 1 where something is missing.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import venv
from pathlib import Path

ROOT = Path(__file__).parents[2]


def main() -> int:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        venv.create(folder / "env", with_pip=True)
        scripts = folder / "env" / ("Scripts" if sys.platform == "win32" else "bin")
        subprocess.run([scripts / "python", "-m", "pip", "install", "-q", ROOT], check=True)
        review = [scripts / "busbook", "review", ROOT / "sample_logs", "--out", "reports"]
        done = subprocess.run(review, cwd=folder, capture_output=True, text=True, check=False)
        pages = sorted(p.name for p in (folder / "reports").glob("*.html"))
        logs = list((ROOT / "sample_logs").glob("*.csv"))
        print(f"exit {done.returncode}, {len(pages)} pages of {len(logs)} sample logs")
        print(done.stderr if done.returncode else "", end="")
        return int(done.returncode != 0 or len(pages) < len(logs))


if __name__ == "__main__":
    raise SystemExit(main())
