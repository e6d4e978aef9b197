"""The command line: one file a command; each parses, calls and prints.

Command modules are imported only when their command runs, so that `schedgen check` starts fast.
"""

from __future__ import annotations

import gc
import importlib
import os
import sys
from collections.abc import Sequence

import click

GARBAGE_AFTER = 200_000
"""New objects before Python looks for waste; every 700, its own choice, cost a tenth of the time of a `check`."""
MOMENTS: dict[str, tuple[str, ...]] = {
    "At the desk": ("new", "check", "simulate", "fit", "sheet", "watch", "render", "compile", "rehearse"),
    "On the bench and on deck": ("find", "upload", "readback", "bench", "arm", "disarm"),
    "After the dive": ("debrief",),
    "Any time": ("demo", "library", "schema"),
}
"""The commands by the moment in which they are used, in the order of the help."""


class _ByMoment(click.Group):
    """The group of all commands, loaded when asked for and listed by the moment of the work."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [name for names in MOMENTS.values() for name in names]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.list_commands(ctx):
            return None
        module = importlib.import_module(f"schedgen.commands.{cmd_name}")
        command = module.command
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and not args[0].startswith("-") and args[0] not in self.list_commands(ctx):
            import difflib

            near = difflib.get_close_matches(args[0], self.list_commands(ctx), n=1)
            hint = f" Did you mean {near[0]}?" if near else " `schedgen -h` lists the commands."
            ctx.fail(f"There is no command {args[0]!r}.{hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        for moment, names in MOMENTS.items():
            rows = []
            for name in names:
                command = self.get_command(ctx, name)
                assert command is not None
                rows.append((name, command.get_short_help_str(limit=66)))
            with formatter.section(moment):
                formatter.write_dl(rows)


@click.group(
    cls=_ByMoment,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit codes: 0 done or go; 1 no-go, or something differs; 2 the command line or a file is wrong; "
    "3 the board, the port or the link failed.",
)
@click.version_option(None, "--version", package_name="schedgen", message="schedgen %(version)s")
def cli() -> None:
    """One dive file for a free-fall sea-floor camera: checked, turned into settings, put on the board, read back."""


def _tune() -> None:
    """Settings of a process of our own, before the libraries come in. Imports make many objects and next to no waste,
    so waste is looked for rarely; matrices here are tiny, so one thread is quicker and always adds in the same order;
    and no plug-in of another package has a say in what a dive file means."""
    gc.set_threshold(GARBAGE_AFTER)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code. No input makes it end in a traceback."""
    from schedgen.commands.common import exit_code_of

    if argv is None:
        _tune()
    words = sys.argv[1:] if argv is None else list(argv)
    as_json = "--json" in words
    code = exit_code_of(lambda: cli.main(args=words, prog_name="schedgen", standalone_mode=False), as_json)
    if argv is None:
        sys.exit(code)
    return code
