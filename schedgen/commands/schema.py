"""`schedgen schema`: the JSON Schema of a dive file, for completion in editors."""

from __future__ import annotations

import click


@click.command("schema", short_help="JSON Schema of the dive file, for editors")
def command() -> int:
    """Print a JSON Schema of the dive file; editors use it for completion and marks."""
    from schedgen.commands.common import write_json
    from schedgen.dive.schema import dive_schema

    write_json(dive_schema())
    return 0
