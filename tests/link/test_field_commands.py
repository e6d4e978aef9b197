"""The commands of the field on virtual boards: find, upload with what was and will be, several boards in one table."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from bench_rig import CutPort

from schedgen.commands import main
from schedgen.errors import PortLost
from schedgen.link import deck
from schedgen.link.ports import open_port
from schedgen.link.search import Candidate
from schedgen.report.letters import large
from schedgen.settings.code import ALPHABET


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str

    @property
    def record(self) -> Any:
        return json.loads(self.out)


Run = Callable[..., Ran]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def one(*words: str | Path) -> Ran:
        capsys.readouterr()
        code = main([str(word) for word in words])
        captured = capsys.readouterr()
        return Ran(code, captured.out, captured.err)

    return one


@pytest.fixture
def dive(tmp_path: Path) -> Path:
    path = tmp_path / "dive.yaml"
    path.write_bytes(resources.files("schedgen.dive").joinpath("demo.yaml").read_bytes())
    return path


@pytest.fixture
def port(tmp_path: Path) -> str:
    return f"virtual:{tmp_path / 'board.bin'}"


def change(dive: Path, old: str, new: str) -> None:
    text = dive.read_text(encoding="utf-8")
    assert old in text
    dive.write_text(text.replace(old, new), encoding="utf-8")


def test_a_dry_run_does_everything_but_the_port(run: Run, dive: Path, tmp_path: Path) -> None:
    ran = run("upload", dive, "--dry-run", "--port", f"virtual:{tmp_path / 'never.bin'}")
    assert ran.code == 0
    assert "Nothing was sent" in ran.out
    assert "REL1 at" in ran.out
    assert not (tmp_path / "never.bin").exists()
    record = run("upload", dive, "--dry-run", "--json").record
    assert (record["sent"], record["verified"]) == (False, False)
    assert record["code"] == run("check", dive, "--json").record["code"]


def test_an_upload_shows_what_is_on_the_board_now_and_what_will_be(run: Run, dive: Path, port: str) -> None:
    first = run("upload", dive, "--port", port)
    assert "Now      dive none" in first.out
    old = run("check", dive, "--json").record["code"]
    change(dive, "at: bottom + 9 h", "at: bottom + 8 h")
    new = run("check", dive, "--json").record["code"]
    second = run("upload", dive, "--port", port)
    assert f"Now      dive {old}" in second.out
    assert f"Will be  dive {new}" in second.out
    assert "now      REL1 at 9 h" in second.out
    assert "will be  REL1 at 8 h" in second.out
    assert "\n".join(f"  {line}" for line in large(new)) in second.out


def test_a_no_go_needs_each_stop_accepted_and_shows_what_was_accepted(run: Run, dive: Path, port: str) -> None:
    change(dive, "  wait: 48 h", "  wait: 480 h")
    refused = run("upload", dive, "--port", port)
    assert refused.code == 1
    assert "Nothing was sent" in refused.err
    stops = [f for f in run("check", dive, "--json").record["findings"] if f["severity"] == "stop"]
    assert stops
    names = sorted({f["name"] for f in stops})
    lines = "\naccept:\n" + "".join(f"  {name}: the ship stays beside it\n" for name in names)
    dive.write_text(dive.read_text(encoding="utf-8") + lines, encoding="utf-8")
    taken = run("upload", dive, "--port", port)
    assert taken.code == 0, taken.err
    for name in names:
        assert f"Accepted {name}: the ship stays beside it" in taken.out


def test_an_unfinished_upload_goes_on_when_it_is_repeated(run: Run, dive: Path, port: str) -> None:
    from schedgen.link.eeprom import Nameplate
    from schedgen.load import load

    loaded = load(dive)
    line = open_port(port, make=Nameplate.of(loaded.board))
    with pytest.raises(PortLost):
        deck.upload(CutPort(line, sent=120), loaded.settings(), loaded.board.board_type)
    ran = run("upload", dive, "--port", port, "--json").record
    assert 0 < ran["written"] < ran["bytes"]
    assert ran["verified"]


def test_arming_says_what_starts_it_and_what_happens_then(run: Run, dive: Path, port: str) -> None:
    code = run("upload", dive, "--port", port, "--json").record["code"]
    armed = run("arm", code, "--port", port)
    for words in ("60 s", "goes on first", "never before 3 h", "14 h at the latest", f"disarm --port {port}"):
        assert words in armed.out
    assert run("disarm", "--port", port).code == 0


def test_a_code_that_is_none_is_refused_before_the_port_is_opened(run: Run, tmp_path: Path) -> None:
    ran = run("arm", "7K3", "--port", f"virtual:{tmp_path / 'none.bin'}")
    assert ran.code == 2


def test_several_boards_in_one_table_with_their_names_and_dives(run: Run, dive: Path, tmp_path: Path) -> None:
    ports = [f"virtual:{tmp_path / name}" for name in ("a.bin", "b.bin")]
    codes = []
    for port, name, hours in zip(ports, ("WHELK", "LIMPET"), ("9 h", "8 h"), strict=True):
        change(dive, "at: bottom + 9 h", f"at: bottom + {hours}")
        codes.append(run("upload", dive, "--port", port, "--json").record["code"])
        assert run("find", "--port", port, "--name", name).code == 0
    table = run("readback", "--all", "--port", ports[0], "--port", ports[1])
    assert table.code == 0
    for row, name, code in zip(table.out.splitlines()[1:], ("WHELK", "LIMPET"), codes, strict=True):
        assert name in row
        assert code in row
    record = run("readback", "--all", "--port", ports[0], "--port", ports[1], "--json").record
    assert [one["board"]["name"] for one in record["boards"]] == ["WHELK", "LIMPET"]


def test_a_port_without_a_board_stands_in_the_table_and_makes_exit_code_3(run: Run, tmp_path: Path) -> None:
    ran = run("readback", "--all", "--port", f"virtual:{tmp_path / 'none.bin'}")
    assert ran.code == 3
    assert "no board answers" in ran.out


def test_the_board_is_found_without_a_port_when_only_one_answers(
    run: Run, dive: Path, port: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run("upload", dive, "--port", port).code == 0
    found = [Candidate("/dev/ttyS0", ""), Candidate(port, "USB serial", 0x0403, 0x6001)]
    monkeypatch.setattr("schedgen.link.search.candidates", lambda: tuple(found))
    assert run("readback", "--against", dive).code == 0
    listed = run("find")
    assert listed.code == 0
    assert "halyard-4809" in listed.out
    assert "not asked: no known adapter" in listed.out
    quiet = run("find", "--list")
    assert "halyard-4809" not in quiet.out
    second = replace(found[1], port=port.replace("board.bin", "other.bin"))
    assert run("upload", dive, "--port", second.port).code == 0
    found.append(second)
    two = run("readback")
    assert two.code == 3
    assert "--called" in two.err


def test_why_no_board_is_found_works_without_one(run: Run) -> None:
    ran = run("find", "--why")
    assert ran.code == 0
    assert ran.out.count("Next:") == 7
    assert run("find", "--why", "--json").record["causes"]


def test_every_sign_of_a_dive_code_has_a_shape_of_its_own() -> None:
    shapes = {tuple(line.replace(sign, "#") for line in large(sign)) for sign in ALPHABET}
    assert len(shapes) == len(ALPHABET)
    assert all(len(large(sign)) == 5 for sign in ALPHABET)
