"""The process that holds the simulator: one JSON object a line on standard input, answers on standard output.

`{"do": "load", "target": {...}}`, `{"do": "play", "scenario": {...}}`, `{"do": "serve", "scenario": {...}}`, and
`{"do": "stop"}` to end what is served. Answers are `{"done": seconds}` on the way, then `{"record": {...}}`,
`{"port": NAME}`, `{"ended": true, "edges": [...]}`, `{"loaded": true}` or `{"trouble": TEXT}`;
`{"missing": TEXT}` where the simulator cannot be loaded.
Run as `python -m schedgen.firmware.rehearse.worker`; it ends with its input.
"""

from __future__ import annotations

import json
import os
import sys
from typing import Any, TextIO

from schedgen.firmware.rehearse.scenario import Target, plain_record, scenario_from


class Worker:
    """Obeys one line after the other."""

    def __init__(self, answers: TextIO) -> None:
        self.answers = answers
        self.target: Target | None = None

    def answer(self, value: dict[str, Any]) -> None:
        """Write one line."""
        self.answers.write(json.dumps(value, separators=(",", ":")) + "\n")
        self.answers.flush()

    def obey(self, request: dict[str, Any]) -> None:
        """Carry out one request; whatever goes wrong is an answer."""
        try:
            self._obey(request)
        except Exception as error:
            self.answer({"trouble": f"{type(error).__name__}: {error}"})

    def _obey(self, request: dict[str, Any]) -> None:
        if request["do"] == "load":
            given = request["target"]
            given["outputs"] = {name: tuple(wire) for name, wire in given["outputs"].items()}
            self.target = Target(**given)
            from schedgen.firmware.rehearse.part_library import library

            library()  # comes before the simulator
            try:
                import schedgen.firmware.rehearse.player  # noqa: F401  # whether the simulator is there and loads
            except ImportError as error:
                self.answer({"missing": str(error)})
                return
            self.answer({"loaded": True})
            return
        if request["do"] == "stop":  # it has ended what was served, which gave the answer
            return
        assert self.target is not None
        scenario = scenario_from(request["scenario"])
        if request["do"] == "serve":
            from schedgen.firmware.rehearse.terminal import serve

            edges = serve(self.target, scenario, lambda port: self.answer({"port": port}), sys.stdin)
            self.answer({"ended": True, "edges": edges})
            return
        from schedgen.firmware.rehearse.player import Player

        record = Player(self.target, scenario, lambda done: self.answer({"done": done})).play()
        self.answer({"record": plain_record(record)})


def main() -> None:
    """Obey until the input ends. What the simulator itself prints goes to standard error."""
    answers = os.fdopen(os.dup(1), "w", encoding="ascii")
    os.dup2(2, 1)
    worker = Worker(answers)
    for line in sys.stdin:
        worker.obey(json.loads(line))


if __name__ == "__main__":
    main()
