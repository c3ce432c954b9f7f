"""One job as one sees it: what is on record, what is open, what is missing for the next move."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from heapq import merge
from typing import TYPE_CHECKING, Any

from rig.cli.table import table
from rig.plan.visible import visible
from rig.records.codec import encode_fields
from rig.records.declared import Declared
from rig.records.facts import FileApproved, FileUsed, RunBegan, RunClosed
from rig.records.findings import Finding
from rig.records.job import Job
from rig.records.ledger import Kept
from rig.records.touched import other_files
from rig.records.warranty import Compared
from rig.shown.numbers import significant, with_unit

if TYPE_CHECKING:
    from rig.cli.printer import Printer


@dataclass(frozen=True)
class JobPage:
    """Everything that the page of a job shows. ``due`` is what is to be done next, ``missing`` what stands before its
    release, ``to_run`` the procedures of it that were not run since the last repair; ``changes`` are the files that
    were put in force meanwhile, and touch it."""

    own: Declared
    job: Job
    findings: tuple[Finding, ...]
    missing: tuple[str, ...]
    baseline: tuple[Compared, ...]
    changes: tuple[Kept, ...]
    to_run: tuple[str, ...]
    due: str


def page_json(page: JobPage) -> dict[str, Any]:
    """The page as one JSON value."""
    job, received = page.job, page.job.received
    release = job.release
    return {
        "job": job.number,
        "store": {"kind": page.own.kind, "name": page.own.name},
        "stage": job.stage,
        "closed": job.closed or None,
        **encode_fields(received),
        "released": None if release is None else {"number": release[1].number, "by": release[0].by},
        "runs": [
            {"run": r.run, "procedure": r.began.procedure, "verdict": r.verdict, "by": r.by, "proved": r.began.proved}
            for r in job.runs
        ],
        "findings": [asdict(finding) for finding in page.findings],
        "missing_for_release": list(page.missing),
        "to_run_for_release": list(page.to_run),
        "put_in_force_meanwhile": [{"utc": e.utc, "by": e.by, **encode_fields(e.fact)} for e in page.changes],
        "baseline": [asdict(pair) | {"agrees": pair.agrees} for pair in page.baseline],
        "entries": [
            {"entry": e.id, "seq": e.seq, "kind": e.kind, "utc": e.utc, "by": e.by, "says": encode_fields(e.fact)}
            for e in job.entries
        ],
    }


def print_page(page: JobPage, out: Printer) -> None:
    """The page as lines."""
    print_head(page, out)
    print_story(page, out)
    print_findings(page, out)
    print_missing(page, out)


def print_head(page: JobPage, out: Printer) -> None:
    """Whose unit it is, and what is next."""
    job, received = page.job, page.job.received
    out.line(page.own.heading())
    out.line(f"job {visible(job.number)}: {visible(received.serial)}, {visible(received.unit)}, next: {page.due}"
             if not job.closed else f"job {visible(job.number)}: {visible(received.serial)}, {job.closed}")  # fmt: skip
    out.line(f"owner {visible(received.owner, 200)}; {received.complaint}: {visible(received.words, 200) or '-'}")
    if received.accessories:
        out.line("with " + ", ".join(visible(a) for a in received.accessories))
    if received.warranty_of is not None:
        out.line(f"warranty return of job {visible(received.warranty_of)}")


def print_story(page: JobPage, out: Printer, latest_first: bool = False) -> None:
    """Everything that is on record, in the order in which it came or the other way round. A change of what the unit is
    judged by stands where it happened, and at the first run that was judged by other files than the one before."""
    others = other_files(page.job)
    entries = merge(page.job.entries, page.changes, key=lambda e: e.utc)
    rows = [(e.utc[:16].replace("T", " "), e.seq, e.by or "-", _says(e.kind, e.fact, others)) for e in entries]
    out.line("", *table(("when (UTC)", "entry", "by", "what"), rows[::-1] if latest_first else rows, out.width))
    if page.baseline:
        out.line("", *table(("step", "as left", "as found", "agrees"), [_pair(p) for p in page.baseline], out.width))


def print_findings(page: JobPage, out: Printer) -> None:
    """What was found, open and closed."""
    _print_list("Open findings:", [f.what for f in page.findings if not f.closed], out)
    _print_list("Closed findings:", [f"{f.what}; {f.closed}" for f in page.findings if f.closed], out)


def print_missing(page: JobPage, out: Printer) -> None:
    """What is missing for the release; nothing once it is released or closed."""
    if page.job.closed or page.job.release is not None:
        return
    _print_list("Missing for release:", page.missing, out)
    if not page.missing and page.due == "release":
        who = "somebody from QA who has done no work on it"
        out.line("", f"Nothing in this job is missing for release: it waits for {who}.")


def _print_list(title: str, lines: Sequence[str], out: Printer) -> None:
    if lines:
        out.line("", title, *(f"  - {visible(line, 400)}" for line in lines))


def _pair(pair: Compared) -> tuple[str, str, str, str]:
    word = {True: "yes", False: "NO", None: "not to be said"}[pair.agrees]
    return (
        pair.step,
        with_unit(significant(pair.as_left, 5), pair.unit, False),
        with_unit(significant(pair.as_found, 5), pair.unit, False),
        word if pair.en is None else f"{word} (E_n {pair.en:+.1f})",
    )


def _says(kind: str, fact: object, others: Mapping[str, Sequence[tuple[FileUsed, FileUsed]]]) -> str:
    if isinstance(fact, RunBegan):
        proof = "" if fact.proved else ", without a PIN"
        files = "".join(f"; {_changed(was, now)}" for was, now in others.get(fact.run, ()))
        return f"run {fact.run[:13]} of {fact.procedure} began on {fact.bench}{proof}{files}"
    if isinstance(fact, RunClosed):
        return f"run {fact.run[:13]} ended: {fact.verdict or 'cut off'}"
    if isinstance(fact, FileApproved):
        return f"{fact.kind} {fact.name} was put in force in revision {fact.revision or '-'}"
    plain = encode_fields(fact)
    plain = {k: v for k, v in plain.items() if k not in ("statement", "signature", "public_key", "sha256")}
    words = [f"{k.replace('_', ' ')} {_text(v)}" for k, v in plain.items() if v not in (None, "", [])]
    return f"{_spoken(kind)}: " + "; ".join(words)


def _spoken(kind: str) -> str:
    """The name of a kind of entry as people say it: 'owner answered' for OwnerAnswered."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", kind).lower()


def _changed(was: FileUsed, now: FileUsed) -> str:
    same = was.revision == now.revision
    how = f"its text, in revision {now.revision or '-'}" if same else f"revision {now.revision}, was {was.revision}"
    return f"CHANGED since the run before: {now.kind} {now.name}, {how}"


def _text(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(_text(v) for v in value)
    if isinstance(value, dict):
        return " ".join(_text(v) for v in value.values())
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value).removesuffix(".0") if isinstance(value, float) else str(value)
