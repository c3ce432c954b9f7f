"""The command ``rig``: finds the subcommand, and says in two lines what went wrong.

Each command is a file of its own, and is imported only when it is called: a command pays for what it uses.
"""

from __future__ import annotations

import difflib
import importlib
import os
import sys
from collections.abc import Sequence

import click

from rig import __version__

# name: the module under rig.cli (and its command, where it has several), and the line that ``rig --help`` shows
COMMANDS = {
    "run": ("rig.cli.run", "Run a procedure on a bench."),
    "check": ("rig.cli.check", "Check files before anything is energized."),
    "bench": ("rig.cli.bench", "Show how a bench is wired, and call the roll of its instruments."),
    "gauge": ("rig.cli.gauge", "Study a gauge: parts by people by trials."),
    "station": ("rig.cli.station", "Serve the simulated station until stopped."),
    "runs": ("rig.cli.runs", "List the runs on record, or show one."),
    "likelihoods": ("rig.cli.likelihoods", "Count the causes' chances on simulated units."),
    "diagnose": ("rig.cli.diagnose", "Rank the causes of a complaint, and say what to look at next."),
    "receive": ("rig.cli.receive", "Take a unit in."),
    "job": ("rig.cli.job", "Show one job, or make a move in its life."),
    "jobs": ("rig.cli.job:jobs_command", "List the jobs, and what each waits for."),
    "repair": ("rig.cli.repair", "Log a repair."),
    "release": ("rig.cli.release", "Sign that a unit may go."),
    "report": ("rig.cli.report", "Papers and exports of a run or a job."),
    "verify": ("rig.cli.verify", "Check a certificate offline, or the records."),
    "people": ("rig.cli.people", "Who works here, in which role."),
    "store": ("rig.cli.store", "What the records are: a workshop's, or for practice."),
    "gather": ("rig.cli.gather", "Send finished records to the shop's PostgreSQL."),
    "shop": ("rig.cli.shop", "The workshop's figures, its floor, and what is on record of one unit."),
    "backup": ("rig.cli.backup", "Copy all records into one file, and check the copy."),
    "restore": ("rig.cli.backup:restore_command", "Bring the records of a backup back."),
    "replay": ("rig.cli.replay", "Run a wire log's run again, on the answers that it recorded."),
    "screen": ("rig.screen.command", "Work at the bench on one screen: run, watch, find the cause, release."),
    "schema": ("rig.cli.schema", "Print the JSON Schema of a kind of file."),
}


class Commands(click.Group):
    """Subcommands, imported when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        module, _, attribute = COMMANDS[name][0].partition(":")
        command = getattr(importlib.import_module(module), attribute or "command")
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and not args[0].startswith("-") and args[0] not in COMMANDS:
            near = difflib.get_close_matches(args[0][:40], COMMANDS, n=1, cutoff=0.5)
            hint = f"; nearest is '{near[0]}'" if near else ""
            ctx.fail(f"no command is called {args[0][:40]!a}{hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.command(
    cls=Commands,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="rig", message="%(prog)s %(version)s")
@click.pass_context
def cli(ctx: click.Context) -> None:
    """A diagnostic rig for workshops that refurbish small tabletop steam sterilisers.

    \b
    Example:
      rig run incoming-inspection --unit demo-18-dc --serial LM-0042

    Software is not the safety function: the hard-wired emergency stop and contactor are.
    """
    if ctx.invoked_subcommand is None:
        print(ctx.get_help(), file=sys.stderr)
        ctx.exit(2)


def main(arguments: Sequence[str] | None = None) -> None:
    """The console entry. Never returns: ends the program with the exit code."""
    code = run(arguments)
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _let_go_of_stdout()
    sys.exit(code)


def carry_out(words: Sequence[str]) -> int:
    """Carry out one command line; its exit code. Raises whatever the command does, and click's errors."""
    try:
        # not cli.main(): that ends the program by itself when a pipe is broken
        with cli.make_context("rig", list(words)) as ctx:
            code = cli.invoke(ctx)
    except click.exceptions.Exit as leave:
        return leave.exit_code
    return code if isinstance(code, int) else 0


def run(arguments: Sequence[str] | None = None) -> int:
    """Carry out one command line; its exit code. What went wrong comes as ``rig.cli.failing`` says it."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    words = sys.argv[1:] if arguments is None else list(arguments)
    try:
        return carry_out(words)
    except BrokenPipeError:  # the reader has seen enough
        _let_go_of_stdout()
        return 0
    except (Exception, KeyboardInterrupt) as fault:
        from rig.cli.failing import tell

        return tell(fault, "--json" in words)


def _let_go_of_stdout() -> None:
    """Keep the interpreter from complaining about the broken pipe at its end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
