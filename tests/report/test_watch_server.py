"""`watch` without a browser: what it serves, to whom, and what a save changes."""

from __future__ import annotations

import http.client
import json
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from report_dives import HOSTILE_NAME, demo_text, hostile_text

from schedgen.commands.watch import Board, Server, Watcher
from schedgen.report.sheet.live import live_page


@pytest.fixture
def server() -> Iterator[Server]:
    """A server with nothing on its board yet."""
    one = Server(Board(), live_page("dive.yaml"))
    thread = threading.Thread(target=one.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    yield one
    one.shutdown()
    one.server_close()
    thread.join()


def ask(server: Server, path: str, method: str = "GET", host: str | None = None) -> tuple[int, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", server.server_address[1], timeout=5)
    connection.putrequest(method, path, skip_host=True)
    connection.putheader("Host", host if host is not None else f"127.0.0.1:{server.server_address[1]}")
    connection.endheaders()
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    return answer.status, body


def test_listens_on_the_loopback_alone_and_on_a_free_port(server: Server) -> None:
    other = Server(Board(), "")
    try:
        assert server.server_address[0] == "127.0.0.1"
        assert server.server_address[1] != other.server_address[1]
        assert server.server_address[1] > 1023
    finally:
        other.server_close()


def test_answers_three_paths_and_no_file(server: Server) -> None:
    assert ask(server, "/")[0] == 200
    assert json.loads(ask(server, "/state")[1])["version"] == 0
    for path in (
        "/dive.yaml",
        "/../../etc/passwd",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/state/",
        "/?x=/etc/passwd",
        "//etc/passwd",
    ):
        assert ask(server, path)[0] == 404, path


@pytest.mark.parametrize(
    "host", ["", "evil.example", "evil.example:80", "127.0.0.1", "localhost.evil.example", "0.0.0.0"]
)
def test_refuses_every_other_host_name(server: Server, host: str) -> None:
    for path in ("/", "/state", "/changes"):
        assert ask(server, path, host=host)[0] == 403


def test_localhost_is_this_computer_too(server: Server) -> None:
    assert ask(server, "/", host=f"localhost:{server.server_address[1]}")[0] == 200


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS"])
def test_takes_nothing(server: Server, method: str) -> None:
    assert ask(server, "/", method)[0] == 501


def test_changes_tell_the_version_at_once_and_at_each_post(server: Server) -> None:
    server.board.post({"problems": []})
    connection = http.client.HTTPConnection("127.0.0.1", server.server_address[1], timeout=5)
    connection.request("GET", "/changes")
    answer = connection.getresponse()
    assert answer.readline() == b"data: 1\n"
    server.board.post({"problems": []})
    assert answer.readline() == b"\n"
    assert answer.readline() == b"data: 2\n"
    connection.close()


def test_a_broken_save_keeps_the_last_good_state(tmp_path: Path) -> None:
    dive = tmp_path / "dive.yaml"
    dive.write_text(demo_text(), encoding="utf-8")
    watcher = Watcher(dive)
    assert watcher.changed()
    assert not watcher.changed()
    good = watcher.check()
    assert good["verdict"] == "go"
    assert good["problems"] == []
    assert {finding["here"] for finding in good["findings"]} == {True}
    dive.write_text(demo_text().replace("trigger: water", "trigger: watr"), encoding="utf-8")
    assert watcher.changed()
    broken = watcher.check()
    assert broken["figure"] == good["figure"]
    assert broken["problems"][0]["line"] == 8
    assert broken["problems"][0]["here"]
    assert "trigger: watr" in "\n".join(broken["source"])


def test_a_file_that_goes_is_a_problem_and_comes_back(tmp_path: Path) -> None:
    dive = tmp_path / "dive.yaml"
    dive.write_text(demo_text(), encoding="utf-8")
    watcher = Watcher(dive)
    watcher.changed()
    watcher.check()
    dive.unlink()
    assert watcher.changed()
    gone = watcher.check()
    assert gone["problems"]
    assert gone["figure"]
    dive.write_text(demo_text(), encoding="utf-8")
    assert watcher.changed()
    assert watcher.check()["problems"] == []


def test_a_change_of_the_board_beside_it_counts_too(tmp_path: Path) -> None:
    dive = tmp_path / "dive.yaml"
    dive.write_text(demo_text(), encoding="utf-8")
    watcher = Watcher(dive)
    assert watcher.changed()
    (tmp_path / "board.yaml").write_text("x: 1\n", encoding="utf-8")
    assert watcher.changed()


def test_text_of_any_kind_stays_data(tmp_path: Path) -> None:
    dive = tmp_path / "dive.yaml"
    dive.write_text(hostile_text(), encoding="utf-8")
    watcher = Watcher(dive)
    watcher.changed()
    state = watcher.check()
    assert state["name"] == HOSTILE_NAME
    assert json.loads(json.dumps(state, allow_nan=False)) == state
    page = live_page("<script>alert(1)</script>.yaml")
    assert "<script>alert" not in page
