"""One job as one sees it: what is on record, what is open, what is missing for the next move."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from rig.cli.table import table
from rig.plan.visible import visible
from rig.records.codec import encode_fields
from rig.records.declared import Declared
from rig.records.facts import RunBegan, RunClosed
from rig.records.findings import Finding
from rig.records.job import Job
from rig.records.warranty import Compared
from rig.shown.numbers import significant, with_unit

if TYPE_CHECKING:
    from rig.cli.printer import Printer


@dataclass(frozen=True)
class JobPage:
    """Everything that the page of a job shows. ``missing`` is what stands before its release."""

    own: Declared
    job: Job
    findings: tuple[Finding, ...]
    missing: tuple[str, ...]
    baseline: tuple[Compared, ...]


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
        "baseline": [asdict(pair) | {"agrees": pair.agrees} for pair in page.baseline],
        "entries": [
            {"entry": e.id, "seq": e.seq, "kind": e.kind, "utc": e.utc, "by": e.by, "says": encode_fields(e.fact)}
            for e in job.entries
        ],
    }


def print_page(page: JobPage, out: Printer) -> None:
    """The page as lines."""
    job, received = page.job, page.job.received
    out.line(page.own.heading())
    out.line(f"job {visible(job.number)}: {visible(received.serial)}, {visible(received.unit)}, next: {job.stage}"
             if not job.closed else f"job {visible(job.number)}: {visible(received.serial)}, {job.closed}")  # fmt: skip
    out.line(f"owner {visible(received.owner, 200)}; {received.complaint}: {visible(received.words, 200) or '-'}")
    if received.accessories:
        out.line("with " + ", ".join(visible(a) for a in received.accessories))
    if received.warranty_of is not None:
        out.line(f"warranty return of job {visible(received.warranty_of)}")
    rows = [(e.utc[:16].replace("T", " "), e.seq, e.by or "-", _says(e.kind, e.fact)) for e in job.entries]
    out.line("", *table(("when (UTC)", "entry", "by", "what"), rows, out.width))
    if page.baseline:
        out.line("", *table(("step", "as left", "as found", "agrees"), [_pair(p) for p in page.baseline], out.width))
    open_ones = [f for f in page.findings if not f.closed]
    closed = [f for f in page.findings if f.closed]
    for title, lines in (
        ("Open findings:", [f.what for f in open_ones]),
        ("Closed findings:", [f"{f.what}; {f.closed}" for f in closed]),
        ("Missing for release:", list(page.missing) if not job.closed and job.release is None else []),
    ):
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


def _says(kind: str, fact: object) -> str:
    if isinstance(fact, RunBegan):
        proof = "" if fact.proved else ", without a PIN"
        return f"run {fact.run[:13]} of {fact.procedure} began on {fact.bench}{proof}"
    if isinstance(fact, RunClosed):
        return f"run {fact.run[:13]} ended: {fact.verdict or 'cut off'}"
    plain = encode_fields(fact)
    plain = {k: v for k, v in plain.items() if k not in ("statement", "signature", "public_key", "sha256")}
    words = [f"{k.replace('_', ' ')} {_text(v)}" for k, v in plain.items() if v not in (None, "", [])]
    return f"{kind}: " + "; ".join(words)


def _text(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(_text(v) for v in value)
    if isinstance(value, dict):
        return " ".join(_text(v) for v in value.values())
    return str(value)
