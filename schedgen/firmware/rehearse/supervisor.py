"""Starts the worker process and talks to it, so that a crash of the simulator is a message and nothing worse."""

from __future__ import annotations

import importlib.util
import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable
from types import TracebackType
from typing import Any

from schedgen.errors import SchedgenError, UsageError
from schedgen.firmware.rehearse.scenario import Record, Scenario, Target, plain, record_from

Progress = Callable[[float], None]
_MODULE = "schedgen.firmware.rehearse.worker"


_INSTALL = (
    'On Linux: install libelf-dev and g++ (names as in Debian), then run pip install "schedgen[rehearse]"; '
    "the simulator does not run elsewhere."
)


class SimulatorFailed(SchedgenError):
    """The simulator gave up or crashed; nothing is said about the firmware by that."""

    exit_code = 3


def require_simulator() -> None:
    """Raises `UsageError` with what to install where the simulator is missing."""
    if importlib.util.find_spec("yasimavr") is None:
        raise UsageError(
            "The simulated microcontroller is not installed.",
            _INSTALL,
        )


class Simulator:
    """A worker process with a program loaded. Use it in a `with` block; `play` as often as wanted."""

    def __init__(self, target: Target) -> None:
        """Start it. Raises `UsageError` without a simulator, `SimulatorFailed`."""
        require_simulator()
        self._target = target
        self._asking = False
        self._trouble = tempfile.TemporaryFile()  # noqa: SIM115  # closed with the process
        try:
            self._start()
        except BaseException:
            self.close()
            raise

    def _start(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", _MODULE],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._trouble,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
        )
        self._ask({"do": "load", "target": plain(self._target)})

    def play(self, scenario: Scenario, progress: Progress = lambda done: None) -> Record:
        """What comes of a scenario. Raises `SimulatorFailed`; the next call starts a new process then."""
        if self._process.poll() is not None:
            self._close_pipes()
            self._start()
        answer = self._ask({"do": "play", "scenario": plain(scenario)}, progress)
        return record_from(answer["record"])

    def serve(self, scenario: Scenario) -> str:
        """Let the board run in real time behind a pseudo-terminal; returns its name.

        It goes away with `stop_serving`, or with `close`.
        """
        return str(self._ask({"do": "serve", "scenario": plain(scenario)})["port"])

    def stop_serving(self) -> list[tuple[int, str, int]]:
        """End what is served; returns (microseconds, output, level in percent) of each edge of its pins since then."""
        edges = self._ask({"do": "stop"})["edges"]
        return [(edge[0], edge[1], edge[2]) for edge in edges]

    def close(self) -> None:
        """End the process, also from another thread than the one that waits for its answer."""
        process = self._process
        if self._asking:
            process.kill()
            process.wait()
        self._close_pipes()
        try:
            process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        self._trouble.close()

    def _close_pipes(self) -> None:
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                try:
                    stream.close()
                except OSError:
                    continue

    def __enter__(self) -> Simulator:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the process."""
        self.close()

    def _ask(self, request: dict[str, Any], progress: Progress = lambda done: None) -> dict[str, Any]:
        self._asking = True
        try:
            return self._asked(request, progress)
        finally:
            self._asking = False

    def _asked(self, request: dict[str, Any], progress: Progress) -> dict[str, Any]:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        try:
            self._process.stdin.write(json.dumps(request).encode("ascii") + b"\n")
            self._process.stdin.flush()
        except OSError as error:
            raise SimulatorFailed(self._ended()) from error
        for line in self._process.stdout:
            answer: dict[str, Any] = json.loads(line)
            if "done" in answer:
                progress(float(answer["done"]))
            elif "missing" in answer:
                raise UsageError(f"The simulated microcontroller cannot be loaded: {answer['missing']}.", _INSTALL)
            elif "trouble" in answer:
                raise SimulatorFailed(
                    f"The simulated board gave up: {answer['trouble']}.", "Report this with the file."
                )
            else:
                return answer
        raise SimulatorFailed(self._ended(), "Run it again; if it happens again, report it with the dive file.")

    def _ended(self) -> str:
        code = self._process.wait()
        how = f"signal {signal.Signals(-code).name}" if code < 0 else f"exit code {code}"
        self._trouble.seek(0)
        lines = self._trouble.read().decode("utf-8", "replace").strip().splitlines()
        return f"The simulator ended by itself ({how}). Its last words: {lines[-1] if lines else 'none'}"
