"""The page started as a program: its address, a second start, its end; a sign to click on."""

from __future__ import annotations

import http.client
import os
import re
import signal
import socket
import stat
import subprocess
import sys
import time
from pathlib import Path
from threading import Event, Thread, Timer

import pytest
import segno
from click.testing import CliRunner
from starlette.responses import PlainTextResponse
from starlette.testclient import TestClient

from telemetry.app.adding import add_logs
from telemetry.book import Logbook
from telemetry.book.files import layout
from telemetry.cli import main
from telemetry.cli.opening import clicked
from telemetry.page.start import serving
from telemetry.page.start.serving import LoadingApp, listening, new_key, qr_lines, running
from telemetry.page.start.shortcut import make_shortcut, shortcut_for
from telemetry.page.work.jobs import Work
from tests.cli.conftest import text_of
from tests.page.conftest import Page

ROOT = Path(__file__).parents[2]


@pytest.fixture
def started(tmp_path):
    """A page in a process of its own; its address."""
    port = listening(18000, lan=False)
    number = port.getsockname()[1]
    port.close()
    words = ["-m", "telemetry", "open", "--book", str(tmp_path / "b"), "--port", str(number)]
    process = subprocess.Popen(
        [sys.executable, *words, "--no-browser"],
        cwd=ROOT,
        env={**os.environ, "PYTHONUNBUFFERED": "1", "HOME": str(tmp_path)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    line = process.stdout.readline()
    yield process, re.search(r"http://\S+", line)[0], tmp_path / "b"
    if process.poll() is None:
        process.kill()
    process.communicate()


def asked(address: str, path: str = "", cookie: str = "") -> tuple[int, dict[str, str], str]:
    host = address.partition("//")[2].partition("/")[0]
    connection = http.client.HTTPConnection(host, timeout=60)
    connection.request("GET", path or address.partition(host)[2], headers={"cookie": cookie})
    answer = connection.getresponse()
    text = answer.read().decode()
    connection.close()
    return answer.status, {k.lower(): v for k, v in answer.getheaders()}, text


@pytest.mark.skipif(os.name != "posix", reason="ended by a signal of POSIX")
def test_it_serves_is_found_by_a_second_start_and_ends_quietly(started) -> None:
    process, address, book = started
    status, headers, _ = asked(address)
    assert status == 303
    cookie = headers["set-cookie"].partition(";")[0]
    status, headers, text = asked(address, "/", cookie)
    assert (status, "The book is empty" in text) == (200, True)
    assert "server" not in headers
    assert running(book) == address
    hidden = book / ".page.json"
    assert stat.S_IMODE(hidden.stat().st_mode) == 0o600
    second = CliRunner().invoke(main, ["open", "--book", str(book), "--no-browser"])
    assert second.exit_code == 0
    assert second.output == f"The page is open already: {address}\n"
    # A connection that says nothing keeps nobody else waiting.
    host, _, port = address.partition("//")[2].partition("/")[0].partition(":")
    with socket.create_connection((host, int(port))):
        assert asked(address, "/guide", cookie)[0] == 200
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 0
    assert out.endswith("The page is closed; what was added is in the book.\n")
    assert err == ""
    assert not hidden.exists()
    assert running(book) is None


def test_a_book_that_cannot_be_opened_is_said(tmp_path) -> None:
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "x.txt").write_text("x")
    done = CliRunner().invoke(main, ["open", "--book", str(tmp_path / "other"), "--no-browser"])
    assert done.exit_code == 2
    assert "this folder is no logbook" in done.output
    assert "Traceback" not in done.output


def test_a_second_start_finds_a_page_that_is_still_loading(tmp_path) -> None:
    assert serving.FORMAT_FILE == layout.FORMAT_FILE
    Logbook(tmp_path / "b")
    loading = Event()

    def load():
        loading.wait(60)
        return PlainTextResponse("the page"), lambda: None

    later, listener = LoadingApp(load), listening(18300, lan=False)
    later.begin(lambda: None)
    server = serving.PageServer(later)
    thread = Thread(target=server.run, args=(listener,))
    thread.start()
    address = f"http://127.0.0.1:{listener.getsockname()[1]}/?key=k"
    try:
        serving.write_address(tmp_path / "b", address)
        assert running(tmp_path / "b") == address
        loading.set()
        later.loaded.wait(60)
        assert running(tmp_path / "b") is None, "another program has the port"
    finally:
        loading.set()
        server.stop()
        thread.join(20)


def test_a_port_in_use_takes_the_next() -> None:
    first = listening(18200, lan=False)
    second = listening(first.getsockname()[1], lan=False)
    try:
        assert second.getsockname()[1] > first.getsockname()[1]
        assert second.getsockname()[0] == "127.0.0.1"
    finally:
        first.close()
        second.close()


def test_the_start_itself_loads_nothing_heavy() -> None:
    """Address and browser come first; what computes and draws loads meanwhile."""
    code = (
        "import sys, telemetry.page.start.serving, telemetry.cli;"
        "print([m for m in ('numpy', 'pandas', 'scipy', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout == "[]\n"


def test_the_list_of_aircraft_needs_nothing_that_computes_or_draws(tmp_path) -> None:
    """It is there before these are loaded, with each aircraft as it was judged before."""
    log = tmp_path / "first.csv"
    log.write_text(text_of(seed=59))
    add_logs(Logbook(tmp_path / "b"), [log], aircraft="gull")
    page, end = Page(tmp_path / "b", tmp_path / "pages"), time.monotonic() + 60
    while "Being judged" in (text := page.get("/").text):
        assert time.monotonic() < end
        time.sleep(0.05)
    (tmp_path / "list.html").write_text(text, encoding="utf-8")
    code = (
        "import sys; from pathlib import Path; from starlette.testclient import TestClient;"
        "from telemetry.page import app; from telemetry.page.safety import Door;"
        "app.load = lambda: None;"  # what is loaded behind the list
        "door = Door(key='k', hosts=frozenset({'127.0.0.1:8417'}));"
        "made = app.make_app(Path('b').absolute(), door=door, cache=Path('pages').absolute());"
        "client = TestClient(made, base_url='http://127.0.0.1:8417');"
        "client.cookies.set(door.cookie, 'k'); text = client.get('/').text;"
        "print(text == Path('list.html').read_text(encoding='utf-8'));"
        "print([m for m in ('pandas', 'scipy', 'matplotlib', 'markdown_it') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert done.stdout == "True\n[]\n"


def test_a_browser_sees_at_once_that_the_book_is_being_opened() -> None:
    """The same address again is the page, with its key; another program's question waits."""
    loading = Event()

    def load():
        loading.wait(60)
        return PlainTextResponse("the page"), lambda: None

    later = LoadingApp(load)
    later.begin(lambda: None)
    client = TestClient(later)
    first = client.get("/?key=k", headers={"accept": "text/html,*/*"})
    assert (first.status_code, first.headers["refresh"]) == (503, "1")
    assert "The logbook is being opened" in first.text
    assert first.headers["content-security-policy"].startswith("default-src 'none'")
    Timer(0.8, loading.set).start()
    assert client.get("/?key=k").text == "the page"
    assert client.get("/?key=k", headers={"accept": "text/html"}).text == "the page"


def test_keys_are_long_and_differ() -> None:
    keys = {new_key() for _ in range(100)}
    assert len(keys) == 100
    assert all(re.fullmatch(r"[a-z2-9]{12}", key) for key in keys)


def test_the_code_of_characters_is_the_one_of_the_standard() -> None:
    """Module by module as the library's own matrix (ISO/IEC 18004), with its quiet zone."""
    lines = qr_lines("http://192.0.2.7:8417/?key=abcdefghjkmn")
    light = {"█": (1, 1), "▀": (1, 0), "▄": (0, 1), " ": (0, 0)}
    rows = [[light[sign][half] for sign in line] for line in lines for half in (0, 1)]
    made = segno.make("http://192.0.2.7:8417/?key=abcdefghjkmn", micro=False)
    wanted = [[1 - x for x in row] for row in made.matrix_iter(border=2)]
    assert rows[: len(wanted)] == wanted


# A sign to click on.


def test_linux_gets_a_desktop_entry() -> None:
    made = shortcut_for(
        "linux", Path("/anybody"), '/opt/my "py"$/python3', ("--book", "/x/50% \\b")
    )
    assert made.path == Path("/anybody/.local/share/applications/busbook.desktop")
    assert made.text.startswith("[Desktop Entry]\nType=Application\n")
    (line,) = [x for x in made.text.splitlines() if x.startswith("Exec=")]
    assert line == (
        'Exec="/opt/my \\\\"py\\\\"\\\\$/python3" "-m" "telemetry" "open" "--book" '
        '"/x/50%% \\\\\\\\b"'
    )


def test_macos_gets_a_command_file(tmp_path) -> None:
    made = shortcut_for("darwin", tmp_path, "/opt/it's/python3", ("--book", "/b; rm -rf $HOME"))
    assert made.path == tmp_path / "busbook.command"
    assert made.runs
    line = made.text.splitlines()[-1]
    assert line == (
        "exec '/opt/it'\\''s/python3' '-m' 'telemetry' 'open' '--book' '/b; rm -rf $HOME'"
    )
    (tmp_path / "Desktop").mkdir()
    assert shortcut_for("darwin", tmp_path, "p", ()).path == tmp_path / "Desktop/busbook.command"


def test_windows_gets_a_python_file_without_a_window(tmp_path, monkeypatch) -> None:
    python = "C:\\My Files\\.venv\\Scripts\\python.exe"
    made = shortcut_for("win32", tmp_path, python, ("--book", 'C:\\b"x'))
    assert made.path.suffix == ".pyw"
    first, *rest = made.text.split("\r\n")
    assert first == '#!"C:\\My Files\\.venv\\Scripts\\pythonw.exe"'
    monkeypatch.setattr(sys, "argv", [])
    exec("\n".join(line for line in rest if "run_module" not in line), {})
    assert sys.argv[1:] == ["open", "--book", 'C:\\b"x']


@pytest.mark.parametrize(
    ("system", "name", "line"),
    [
        ("linux", "busbook.desktop", 'Exec="/my programs/busbook-page" "--book" "/50%%"'),
        ("darwin", "busbook.command", "exec '/my programs/busbook-page' '--book' '/50%'"),
        ("win32", "busbook.cmd", '@start "" "/my programs/busbook-page" "--book" "/50%%"'),
    ],
)
def test_a_program_of_its_own_is_started_itself(tmp_path, system, name, line) -> None:
    """No Python is asked for: there may be none."""
    words = ("--book", "/50%")
    made = shortcut_for(system, tmp_path, "/my programs/busbook-page", words, alone=True)
    assert made.path.name == name
    assert line in made.text.splitlines()


def test_the_sign_of_a_frozen_program_leads_to_it(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr("telemetry.page.start.shortcut.Path.home", lambda: tmp_path)
    monkeypatch.setattr(sys, "frozen", True, raising=False)
    monkeypatch.setattr(sys, "executable", "/opt/busbook-page")
    text = make_shortcut(()).read_text()
    assert "/opt/busbook-page" in text
    assert "telemetry" not in text


def test_without_a_terminal_what_stops_it_is_shown_in_the_browser(tmp_path, monkeypatch) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "x.txt").write_text("x")
    shown: list[str] = []
    told = tmp_path / "sub" / "busbook-page.txt"
    monkeypatch.setattr("webbrowser.open", shown.append)
    monkeypatch.setattr("telemetry.cli.opening.click.get_app_dir", lambda _: str(told))
    monkeypatch.setattr("sys.stdout", None)  # as of a program without a window
    assert clicked(["--book", str(other)]) == 2
    assert "this folder is no logbook" in told.read_text()
    assert shown[-1] == told.as_uri()
    shown.clear()
    assert clicked(["--help"]) == 0
    assert "Open the logbook as a page" in told.read_text()
    assert "no logbook" not in told.read_text()
    assert shown == [], "help is no error"
    if os.name == "posix":
        assert stat.S_IMODE(told.stat().st_mode) == 0o600


def test_the_command_writes_it(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr("telemetry.page.start.shortcut.Path.home", lambda: tmp_path)
    done = CliRunner().invoke(main, ["open", "--shortcut", "--book", str(tmp_path / "b")])
    assert done.exit_code == 0, done.output
    path = Path(re.search(r"wrote (.*)", done.output)[1])
    assert str(tmp_path / "b") in path.read_text()
    assert not (tmp_path / "b").exists(), "nothing is opened"


@pytest.mark.skipif(os.name != "posix", reason="killed by a signal of POSIX")
def test_killed_in_the_middle_of_a_drop_the_next_start_goes_on(started, tmp_path: Path) -> None:
    """What was sent is in the book after the next start, each log once."""
    process, address, book = started
    first = tmp_path / "first.csv"
    first.write_text(text_of(seed=59))
    add_logs(Logbook(book), [first], aircraft="gull")
    cookie = asked(address)[1]["set-cookie"].partition(";")[0]
    logs = {f"gull {n}.csv": text_of(seed=60 + n) for n in range(4)}
    boundary = "a-line-that-is-in-no-log"
    body = "".join(
        f'--{boundary}\r\nContent-Disposition: form-data; name="logs"; filename="{name}"\r\n'
        f"Content-Type: text/csv\r\n\r\n{text}\r\n"
        for name, text in logs.items()
    )
    host = address.partition("//")[2].partition("/")[0]
    connection = http.client.HTTPConnection(host, timeout=60)
    connection.request(
        "POST",
        "/drop",
        f"{body}--{boundary}--\r\n".encode(),
        {
            "cookie": cookie,
            "origin": f"http://{host}",
            "content-type": f"multipart/form-data; boundary={boundary}",
        },
    )
    assert connection.getresponse().status == 303
    process.kill()
    process.wait()
    connection.close()
    work = Work(book, workers=0)
    work.start()
    end = time.monotonic() + 60
    while len(Logbook(book).flights("gull")) <= len(logs):
        assert time.monotonic() < end
        time.sleep(0.1)
    work.stop()
    assert len({f.recording for f in Logbook(book).flights("gull")}) == 1 + len(logs)
    checked = Logbook(book).check_book()
    assert (checked.problems, checked.damaged, checked.edited) == ((), (), ())
