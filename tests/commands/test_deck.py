"""The deck commands on the virtual board: upload, readback, arm, disarm."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest


@pytest.fixture
def port(tmp_path: Path) -> str:
    return f"virtual:{tmp_path / 'ein Brett.bin'}"


def test_the_main_job_ends_with_what_the_board_holds(run: Any, demo: Path, port: str) -> None:
    uploaded = run("upload", demo, "--port", port)
    assert uploaded.code == 0, uploaded.err
    assert "verified" in uploaded.out
    code = run("check", demo, "--json").record["code"]
    assert "  ".join(code) in uploaded.out
    held = run("readback", "--port", port, "--against", demo)
    assert held.code == 0
    assert "The same as the dive file" in held.out
    edges = run("readback", "--port", port, "--json").record["edges"]
    fired = [edge["at_s"] for edge in edges if edge["output"] == "REL1" and edge["level"]]
    assert fired[0] == run("check", demo, "--json").record["events"]["release"]["nominal_s"]


def test_another_dive_is_shown_line_by_line(run: Any, demo: Path, port: str) -> None:
    assert run("upload", demo, "--port", port).code == 0
    text = demo.read_text(encoding="utf-8")
    demo.write_text(text.replace("at: bottom + 9 h", "at: bottom + 9 h 10 min"), encoding="utf-8")
    ran = run("readback", "--port", port, "--against", demo)
    assert ran.code == 1
    assert "board      REL1 at" in ran.out
    assert "dive file  REL1 at" in ran.out
    assert run("readback", "--port", port, "--against", demo, "--json").record["differs"] is True


def test_a_board_is_armed_only_with_the_code_that_it_holds(run: Any, demo: Path, port: str) -> None:
    code = run("upload", demo, "--port", port, "--json").record["code"]
    wrong = run("arm", "000000", "--port", port)
    assert wrong.code == 3
    assert run("readback", "--port", port, "--json").record["board"]["armed"] is False
    right = run("arm", code.lower(), "--port", port)
    assert right.code == 0
    assert "60 s" in right.out
    assert run("readback", "--port", port, "--json").record["board"]["armed"] is True


def test_an_armed_board_takes_no_upload_until_it_is_disarmed(run: Any, demo: Path, port: str) -> None:
    code = run("upload", demo, "--port", port, "--json").record["code"]
    assert run("arm", code, "--port", port).code == 0
    text = demo.read_text(encoding="utf-8")
    demo.write_text(text.replace("at: bottom + 9 h", "at: bottom + 8 h"), encoding="utf-8")
    refused = run("upload", demo, "--port", port)
    assert refused.code == 3
    assert "schedgen disarm" in refused.err
    assert run("readback", "--port", port, "--json").record["code"] == code
    assert run("disarm", "--port", port).code == 0
    assert run("upload", demo, "--port", port).code == 0


def test_a_no_go_is_not_sent(run: Any, faulty: Path, port: str) -> None:
    ran = run("upload", faulty, "--port", port)
    assert ran.code == 1
    assert "Nothing was sent" in ran.err
    assert not Path(port.removeprefix("virtual:")).exists()


def test_a_board_of_another_kind_is_left_alone(run: Any, demo: Path, port: str) -> None:
    assert run("upload", demo, "--port", port).code == 0
    before = Path(port.removeprefix("virtual:")).read_bytes()
    text = (
        demo.read_text(encoding="utf-8")
        .replace("halyard-4809", "thole-1608")
        .replace("wired_to: OUT4", "wired_to: OUT1")
    )
    text = text.replace("  locator: {wired_to: OUT1, power: 0.45 W ± 10 %}\n", "")
    text = text.replace("  - {load: locator, from: release, until: end}\n", "")
    demo.write_text(text, encoding="utf-8")
    ran = run("upload", demo, "--port", port)
    assert ran.code in (1, 3), ran.err
    assert Path(port.removeprefix("virtual:")).read_bytes() == before


def test_a_port_that_is_not_there_is_said_so(run: Any, tmp_path: Path) -> None:
    ran = run("readback", "--port", f"virtual:{tmp_path / 'none.bin'}")
    assert ran.code == 3
    assert "none.bin" in ran.err
