"""``rig replay``: run a wire log's run again, on the answers that it recorded."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import asdict
from itertools import zip_longest
from typing import TYPE_CHECKING, Any

import click

from rig.cli.codes import NOT_PASSED, PASSED
from rig.cli.options import json_option, print_json

if TYPE_CHECKING:
    from rig.run.play_back import Played

MOST = 12  # lines of what was asked otherwise; --json has them all


@click.command("replay")
@click.argument("log", metavar="FILE")
@json_option
def command(log: str, as_json: bool) -> int:
    """Run the run of a wire log again, and say whether it comes to the same.

    \b
    Examples:
      rig run incoming-inspection --bench bench-2.yaml --wire-log field.jsonl
      rig replay field.jsonl

    The log has the procedure, the unit profile and the bench in it. No real instrument is touched, nothing is put on
    record, and time goes as fast as it can. The exit code is 0 when every step has its verdict again, else 1.
    """
    from rig.run.play_back import play_back

    played = play_back(log)
    if as_json:
        print_json({"same": played.same, **asdict(played)})
    else:
        _tell(played)
    return PASSED if played.same else NOT_PASSED


def _tell(played: Played) -> None:
    from rig.cli.printer import Printer
    from rig.cli.table import table

    out = Printer(sys.stdout)
    pairs = list(zip_longest(played.then, played.now))
    rows = [_row(then, now) for then, now in pairs if _what(then) != _what(now)]
    if rows:
        out.line(*table(("step", "then", "now"), rows, out.width))
    for text in played.otherwise[:MOST]:
        out.line(f"asked otherwise: {text}")
    if len(played.otherwise) > MOST:
        out.line(f"and {len(played.otherwise) - MOST} times more; --json has them all")
    verdicts = played.verdict_then
    if played.verdict_now != played.verdict_then:
        verdicts = f"{played.verdict_then} then, {played.verdict_now} now"
    same = "the same" if played.same else "NOT the same"
    out.line(f"{len(played.now)} steps, {same} as recorded. Verdict: {verdicts}")


def _what(step: Mapping[str, Any] | None) -> tuple[Any, ...] | None:
    """What is compared: a reason may name an address that is another one now."""
    return None if step is None else (step["step"], step["verdict"], step["reading"])


def _shown(step: Mapping[str, Any] | None) -> str:
    if step is None:
        return "-"
    return " ".join(str(part) for part in (step["verdict"], step["reading"], step["reason"]) if part is not None)


def _row(then: Mapping[str, Any] | None, now: Mapping[str, Any] | None) -> tuple[str, str, str]:
    name = str((then or now or {})["step"])
    return name, _shown(then), _shown(now)
