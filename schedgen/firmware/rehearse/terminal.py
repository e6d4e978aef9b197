"""The simulated board behind a pseudo-terminal, at the pace of the wall clock. Imported only by the worker."""

from __future__ import annotations

import os
import select
import time
from collections.abc import Callable
from typing import TextIO

from schedgen.firmware.rehearse.player import Player
from schedgen.firmware.rehearse.scenario import Scenario, Target

_SLICE_S = 0.002
_HOST_STALLED_S = 0.5
_PIECE = 4096


class Terminal:
    """Bytes between a pseudo-terminal and the simulated serial line."""

    def __init__(self, player: Player) -> None:
        import pty
        import tty

        self.player = player
        self.ours, self.theirs = pty.openpty()
        tty.setraw(self.ours)
        tty.setraw(self.theirs)  # held open: the board lives on between two programs
        os.set_blocking(self.ours, False)
        self.port = os.ttyname(self.theirs)
        self._waiting = bytearray()
        self._behind = time.monotonic() - player.now_s

    def step(self, stop: int) -> bool:
        """Run a slice, wait until the wall clock has caught up; False once `stop` can be read (its end)."""
        player = self.player
        player.advance(player.now_s + _SLICE_S)
        self._waiting += bytes(byte for _, byte in player.part.usart.said)
        player.part.usart.said.clear()
        ahead = player.now_s + self._behind - time.monotonic()
        if ahead < -_HOST_STALLED_S:
            self._behind = time.monotonic() - player.now_s
        until = time.monotonic() + max(0.0, ahead)
        while True:
            left = max(0.0, until - time.monotonic())
            readable, writable, _ = select.select([self.ours, stop], [self.ours] if self._waiting else [], [], left)
            if stop in readable:
                return False
            if self.ours in readable:
                player.part.usart.send(os.read(self.ours, _PIECE))
            if self.ours in writable:
                del self._waiting[: os.write(self.ours, self._waiting)]
            if not left:
                return True

    def close(self) -> None:
        """The port goes away as if unplugged."""
        os.close(self.ours)
        os.close(self.theirs)


def serve(
    target: Target, scenario: Scenario, ready: Callable[[str], None], until: TextIO
) -> list[tuple[int, str, int]]:
    """Let the board live behind a pseudo-terminal until `until` can be read; `ready` is told the port's name.

    Returns what its pins did: (microseconds, output, level in percent) of each edge.
    """
    player = Player(target, scenario)
    for action in scenario.actions:
        player.do(str(action[1]), *action[2:])
    terminal = Terminal(player)
    ready(terminal.port)
    try:
        while terminal.step(until.fileno()):
            pass
    finally:
        terminal.close()
        player.part.close()
    return player.record.edges
