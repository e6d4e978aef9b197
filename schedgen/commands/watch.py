"""`schedgen watch`: checks a dive at each save and shows it in a browser on this computer."""

from __future__ import annotations

import json
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import click

from schedgen.commands.common import console, dive_argument

LOOK_S = 0.05
"""How often the files' times are looked at."""
SETTLE_S = 0.02
SETTLE_LOOKS = 10
"""After a change the files are looked at again, so many times at most, until they stand still."""
BEAT_S = 10.0
"""A line to the browser at least so often, so that either side notices when the other has gone."""
LARGEST = 1_000_000
"""Bytes of a dive file that are shown; a larger one is refused by the reader anyway."""


class Board:
    """The newest state, and the waiting of those who want the next."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._state: dict[str, Any] = {"version": 0, "problems": [], "figure": None, "source": []}

    def post(self, state: dict[str, Any]) -> None:
        """Put up a new state and wake everybody."""
        with self._changed:
            self._state = {**state, "version": self._state["version"] + 1}
            self._changed.notify_all()

    def read(self) -> dict[str, Any]:
        """The newest state."""
        with self._changed:
            return self._state

    def wait_beyond(self, version: int, seconds: float) -> int:
        """The newest version, after at most so long a wait for one beyond `version`."""
        with self._changed:
            self._changed.wait_for(lambda: self._state["version"] > version, timeout=seconds)
            version_now: int = self._state["version"]
            return version_now


class Watcher:
    """Looks at the dive file and the other YAML files of its folder, and checks the dive when one has changed."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._seen: dict[str, tuple[int, int]] | None = None
        self._good: dict[str, Any] = {"figure": None}

    def changed(self) -> bool:
        """True once after each change."""
        now: dict[str, tuple[int, int]] = {}
        files = [self.path, *self.path.parent.glob("*.yaml"), *self.path.parent.glob("*.yml")]
        for file in files:
            try:
                status = file.stat()
            except OSError:
                continue
            now[file.name] = (status.st_mtime_ns, status.st_size)
        if now == self._seen:
            return False
        self._seen = now
        return True

    def settle(self) -> None:
        """Wait until an editor has done writing: the files' times and sizes stand still for a moment."""
        for _ in range(SETTLE_LOOKS):
            time.sleep(SETTLE_S)
            if not self.changed():
                return

    def check(self) -> dict[str, Any]:
        """The state of the file as it is now; where it cannot be read, its problems over the last good state."""
        from schedgen.commands.examine import examine
        from schedgen.errors import FileProblems, Problem, SchedgenError
        from schedgen.load import load
        from schedgen.report.sheet.live import good_state, problems_state

        at = time.strftime("%H:%M:%S")
        problems: list[dict[str, Any]] = []
        try:
            self._good = {**good_state(examine(load(self.path))), "good_at": at}
        except FileProblems as error:
            problems = problems_state(error.problems, self.path)
        except (SchedgenError, OSError) as error:
            trouble = Problem(file=str(self.path), line=0, column=0, message=str(error))
            problems = problems_state([trouble], self.path)
        except Exception as error:  # the page must go on after a fault of the program, and say that it was one
            trouble = Problem(
                file=str(self.path), line=0, column=0, message=f"a fault of schedgen itself: {error!r}",
                next="please report it with this file; change the file and save to go on",
            )  # fmt: skip
            problems = problems_state([trouble], self.path)
        return {**self._good, "problems": problems, "checked_at": at, "source": self._source()}

    def _source(self) -> list[str]:
        try:
            return self.path.read_bytes()[:LARGEST].decode("utf-8", "replace").splitlines()
        except OSError:
            return []


class Server(ThreadingHTTPServer):
    """Serves three things on this computer alone: the page, the newest state, the news of a change."""

    daemon_threads = True
    allow_reuse_address = False

    def __init__(self, board: Board, page: str) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.board = board
        self.page = page.encode("utf-8")
        port = self.server_address[1]
        self.hosts = frozenset({f"127.0.0.1:{port}", f"localhost:{port}"})

    @property
    def address(self) -> str:
        """What to open in a browser."""
        return f"http://127.0.0.1:{self.server_address[1]}/"

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A browser that goes away in the middle is no news."""


class Handler(BaseHTTPRequestHandler):
    """One request. Nothing that the request names is ever opened: there are three answers and no files."""

    server: Server
    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        """Answer the three paths; refuse every other one, and every name that is not this computer's."""
        if self.headers.get("Host", "") not in self.server.hosts:
            self._answer(403, "text/plain", b"This page is for this computer alone.\n")
        elif self.path == "/":
            self._answer(200, "text/html; charset=utf-8", self.server.page)
        elif self.path == "/state":
            text = json.dumps(self.server.board.read(), ensure_ascii=True, allow_nan=False)
            self._answer(200, "application/json", text.encode("ascii"))
        elif self.path == "/changes":
            self._changes()
        else:
            self._answer(404, "text/plain", b"There is nothing here but the page itself.\n")

    def _answer(self, status: int, kind: str, body: bytes) -> None:
        self.send_response_only(status)
        for name, value in (
            ("Content-Type", kind),
            ("Content-Length", str(len(body))),
            ("Cache-Control", "no-store"),
            ("X-Content-Type-Options", "nosniff"),
            ("X-Frame-Options", "DENY"),
            ("Cross-Origin-Resource-Policy", "same-origin"),
        ):
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    def _changes(self) -> None:
        """Server-sent events: the version's number at each change, a comment now and then."""
        self.send_response_only(200)
        self.send_header("Content-Type", "text/event-stream")
        self.send_header("Cache-Control", "no-store")
        self.end_headers()
        self.close_connection = True
        version = 0
        while True:
            newest = self.server.board.wait_beyond(version, BEAT_S)
            line = f"data: {newest}\n\n" if newest > version else ": still here\n\n"
            version = newest
            self.wfile.write(line.encode("ascii"))
            self.wfile.flush()

    def log_message(self, format: str, *args: Any) -> None:
        """Requests are not printed."""


@click.command("watch", short_help="check at each save, shown live in a browser")
@dive_argument
@click.option("--open", "open_it", is_flag=True, help="Open the page in the browser at once.")
def command(file: str, open_it: bool) -> int:
    """Check a dive at each save and show it live in a browser on this computer. Ctrl-C ends it."""
    from schedgen.errors import UsageError
    from schedgen.report.sheet.live import live_page

    path = Path(file)
    if not path.is_file():
        raise UsageError(f"{path} is not a file.", "name the dive file; `schedgen new FILE` writes one to begin with")
    board, watcher = Board(), Watcher(path)
    server = Server(board, live_page(path.name))
    out = console()
    out.line(f"{path}: shown at {server.address} on this computer alone, checked at each save. Ctrl-C ends it.")
    out.flush()
    threading.Thread(target=server.serve_forever, daemon=True).start()
    if open_it:
        import webbrowser

        webbrowser.open(server.address)
    try:
        while True:
            if watcher.changed():
                watcher.settle()
                state = watcher.check()
                board.post(state)
                out.line(_said(state))
                out.flush()
            time.sleep(LOOK_S)
    except KeyboardInterrupt:
        out.line("Watching has ended.")
    finally:
        server.shutdown()
        server.server_close()
    return 0


def _said(state: dict[str, Any]) -> str:
    if state["problems"]:
        first = state["problems"][0]
        line = f"line {first['line']}: " if first["line"] else ""
        return f"{state['checked_at']}  cannot be read: {line}{first['message']}"
    stops = sum(1 for f in state["findings"] if f["severity"] == "stop" and not f["accepted"])
    more = f", {stops} to mend" if stops else ""
    return f"{state['checked_at']}  {state['verdict'].upper()}  {state['code'] or 'no code'}{more}"
