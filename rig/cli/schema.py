"""``rig schema``: the JSON Schema of the files that people write."""

from __future__ import annotations

import click

from rig.cli.options import json_option, print_json


@click.command("schema")
@click.argument("kind")
@json_option
def command(kind: str, as_json: bool) -> int:
    """Print the JSON Schema of files of a KIND: procedure, profile, bench, causes or rules.

    \b
    Example:
      rig schema procedure > procedure.schema.json
    """
    from rig.plan.schema import schema

    print_json(schema(kind))
    return 0
