"""``rig report``: papers and exports of a run or a job."""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.cli.codes import PASSED
from rig.cli.options import json_option, print_json, printable, store_option
from rig.errors import InputError

if TYPE_CHECKING:
    from rig.records.store import Store

_FILE = click.Path(path_type=Path, dir_okay=False, allow_dash=True)


@click.command("report")
@click.option("--run", callback=printable, metavar="ID", help="The run, or as much of its id as is unique.")
@click.option("--job", callback=printable, metavar="N", help="The job.")
@click.option("--html", type=_FILE, metavar="FILE", help="Of a run: one page with rulers, budgets and traces.")
@click.option("--values", type=_FILE, metavar="FILE", help="Of a run: JSON, as 'rig run --json' prints it.")
@click.option("--csv", type=_FILE, metavar="FILE", help="Of a run: one line a step.")
@click.option("--junit", type=_FILE, metavar="FILE", help="Of a run: XML as test reports use it.")
@click.option("--certificate", type=_FILE, metavar="FILE", help="Of a released job: PDF with the signed record in it.")
@click.option("--label", type=_FILE, metavar="FILE", help="Of a job: a label for the unit, PDF.")
@click.option("--record", type=_FILE, metavar="FILE", help="Of a released job: the signed record alone, JSON.")
@store_option
@json_option
def command(run: str | None, job: str | None, store: str | None, as_json: bool, **papers: Path | None) -> int:
    """Make papers of a run or a job. FILE '-' is stdout; --json says there what was written.

    \b
    Examples:
      rig report --run 019f22e2 --html run.html --csv run.csv
      rig report --job 7 --certificate certificate.pdf --label label.pdf

    Papers of a practice store are marked PRACTICE, and are never valid for shipping.
    """
    from rig.records.store import Store

    wanted = {name: path for name, path in papers.items() if path is not None}
    if (run is None) == (job is None):
        raise click.UsageError("expected --run ID or --job N")
    makers: Mapping[str, Callable[[Store, str], bytes]] = _OF_RUN if run is not None else _OF_JOB
    strange = [name for name in wanted if name not in makers]
    if as_json and Path("-") in wanted.values():
        raise click.UsageError("--json and a FILE '-' both want stdout")
    if strange or not wanted:
        known = ", ".join(f"--{name} FILE" for name in makers)
        raise click.UsageError(f"of a {'run' if run is not None else 'job'} there are: {known}")
    with Store.open(store, must_exist=True) as records:
        made = {path: makers[name](records, run or job or "") for name, path in wanted.items()}
    for path, data in made.items():
        _write(path, data)
    if as_json:
        print_json(
            [
                {"file": str(path), "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
                for path, data in made.items()
            ]
        )
    return PASSED


def _write(path: Path, data: bytes) -> None:
    """All of the file or nothing of it."""
    if str(path) == "-":
        sys.stdout.flush()
        sys.stdout.buffer.write(data)
        return
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(data)
        os.replace(part, path)
    except OSError as fault:
        part.unlink(missing_ok=True)
        raise InputError(f"cannot be written: {fault.strerror}", "Name another file.", str(path)) from None
    print(f"{path}: {len(data)} bytes", file=sys.stderr)


def _html(records: Store, run: str) -> bytes:
    from rig.records.declared import declared
    from rig.reports.run_page import run_page

    return run_page(declared(records), records.stored_run(run), records.verify(run)).encode()


def _values(records: Store, run: str) -> bytes:
    from rig.cli.runs import as_json_value

    stored = records.stored_run(run)
    return (json.dumps(as_json_value(stored.record, stored.interrupted), indent=2, allow_nan=False) + "\n").encode()


def _csv(records: Store, run: str) -> bytes:
    from rig.reports.exports import as_csv

    return as_csv(records.read_run(run)).encode()


def _junit(records: Store, run: str) -> bytes:
    from rig.reports.exports import as_junit

    return as_junit(records.read_run(run)).encode()


def _certificate(records: Store, job: str) -> bytes:
    from rig.records.issued import note_paper
    from rig.records.keys import signing_key
    from rig.records.signed import signed_record
    from rig.reports.certificate import certificate

    record = signed_record(records, job)
    made = certificate(record, signing_key(records))
    note_paper(records, job, record.statement["number"], "certificate", hashlib.sha256(made).hexdigest())
    return made


def _label(records: Store, job: str) -> bytes:
    from rig.records.declared import declared
    from rig.records.job import job_of
    from rig.reports.label import label

    return label(declared(records), job_of(records, job))


def _record(records: Store, job: str) -> bytes:
    from rig.records.signed import as_text, signed_record

    return as_text(signed_record(records, job)).encode()


_OF_RUN = {"html": _html, "values": _values, "csv": _csv, "junit": _junit}
_OF_JOB = {"certificate": _certificate, "label": _label, "record": _record}
