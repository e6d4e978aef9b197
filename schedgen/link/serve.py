"""The virtual board behind a pseudo-terminal, for real serial programs. Linux and macOS only."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from types import TracebackType

from schedgen.errors import UsageError
from schedgen.link.ports import Device

_POLL_S = 0.02
_PIECE = 4096


class ServedBoard:
    """Serves `device` on a new pseudo-terminal from a thread of its own until `stop` is called.

    `port` is the name to open with any serial program. Time is the wall clock. `after` runs after everything the
    device was given (to save its memory, say). What `device` or `after` raise ends the serving and is raised by `stop`.
    """

    def __init__(self, device: Device, after: Callable[[], None] = lambda: None) -> None:
        """Begin to serve. Raises `UsageError` on a system without pseudo-terminals."""
        try:
            import pty
            import tty
        except ImportError as error:
            raise UsageError(
                "This system has no pseudo-terminals, so the virtual board cannot be served on one.",
                "Use --port virtual:FILE instead.",
            ) from error
        self._device, self._after = device, after
        self._ours, self._theirs = pty.openpty()
        tty.setraw(self._ours)
        tty.setraw(self._theirs)  # held open, so that the board lives on between two programs
        self.port = os.ttyname(self._theirs)
        self._stopping = threading.Event()
        self._trouble: Exception | None = None
        self._thread = threading.Thread(target=self._serve, name="virtual board", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End it: the port goes away as if unplugged. May be called twice. Raises what ended the serving earlier."""
        self._stopping.set()
        self._thread.join()
        for handle in (self._ours, self._theirs):
            if handle >= 0:
                os.close(handle)
        self._ours = self._theirs = -1
        if self._trouble is not None:
            trouble, self._trouble = self._trouble, None
            raise trouble

    def __enter__(self) -> ServedBoard:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Stop."""
        self.stop()

    def _serve(self) -> None:
        import select

        try:
            while not self._stopping.is_set():
                ready, _, _ = select.select([self._ours], [], [], _POLL_S)
                data = os.read(self._ours, _PIECE) if ready else b""
                answer = self._device.feed(data, time.monotonic())
                while answer:
                    answer = answer[os.write(self._ours, answer) :]
                self._after()
        except Exception as error:
            self._trouble = error
