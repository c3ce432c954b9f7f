"""What a certificate says, from the signed record alone: so it can be made anew from it, and compared."""

from __future__ import annotations

from typing import Any

from rig.events import StepResult
from rig.limits import GUARDED, Verdict
from rig.plan.hand_instruments import is_meant
from rig.records.canonical import canonical
from rig.records.chain import digest
from rig.records.facts import (
    Adjusted,
    Conceded,
    Corrected,
    DataLeft,
    Decontaminated,
    Diagnosed,
    FindingExplained,
    IndicatorPlaced,
    IndicatorRead,
    Repaired,
)
from rig.records.job import Job
from rig.records.signed import RecordedRun, SignedRecord
from rig.reports.words import (
    DECISION_RULE,
    PRACTICE,
    PRACTICE_SAYS,
    limit_of,
    reading_of,
    text,
    when,
    who_of,
)

ENVIRONMENT = {"ambient": "ambient temperature", "mains-under-load": "mains voltage", "ambient-pressure": "pressure"}
AGAINST = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.NO_READING)

Rows = list[list[str]]


def certificate_view(record: SignedRecord) -> dict[str, Any]:
    """Everything that the template prints, as strings and lists of strings."""
    said, job, runs = record.statement, record.job(), record.runs()
    grounds = [run for run in runs if run.run in said["grounds"]]
    received = job.received
    return {
        "title": f"Certificate of release {said['number']}",
        "practice": PRACTICE if record.kind != "workshop" else "",
        "practice_says": PRACTICE_SAYS if record.kind != "workshop" else "",
        "workshop": text(said["workshop"]["name"]) or "(no name declared)",
        "address": text(said["workshop"]["address"]),
        "number": text(said["number"]),
        "replaces": text(said["replaces"] or ""),
        "unit": [
            ["Serial number", text(received.serial)],
            ["Type (profile)", text(received.unit)],
            ["Owner's reference", text(received.owner)],
            ["Accessories", ", ".join(text(a) for a in received.accessories) or "none listed"],
            ["Received", when(job.entries[0].utc)],
            ["Released", when(said["utc"])],
            *_next_due(said["printed"].get("next_due", "")),
            ["Tests", _span(grounds)],
            ["Decontamination", _decontamination(job)],
            ["Owner's data", _data(job)],
        ],
        "complaint": f"{text(said['printed']['complaint'])}."
        + (f" “{text(received.words)}”" if received.words else ""),
        "found": _as_found(job, runs),
        "work": _work(job, said["printed"]["parts"]),
        "results": [_results(run) for run in grounds],
        "again": [*_again(job, runs, said["grounds"]), *_adjusted(job)],
        "indicators": _indicators(job),
        "instruments": _instruments(grounds),
        "environment": _environment(runs),
        "files": _files(grounds),
        "concessions": [
            f"{text(fact.finding)}: {text(fact.reason)} (granted by {text(entry.by)}, until {fact.until})"
            for entry, fact in job.all(Conceded)
        ],
        "explained": [
            f"{text(fact.finding)}: {text(fact.words)} ({text(entry.by)})" for entry, fact in job.all(FindingExplained)
        ],
        "corrections": [
            f"{text(f.field)} corrected to “{text(f.value)}”: {text(f.reason)}" for _, f in job.all(Corrected)
        ],
        "rule": DECISION_RULE,
        "other_rules": _other_rules(grounds),
        "restrictions": [
            "These results relate only to the unit named above, as it was tested.",
            "Tested to the limits named above, by the procedures named above. This is no validation of the owner's "
            "loads, no claim that a load is sterile, and no claim of conformity with a standard that these tests did "
            "not cover.",
            "No part of these tests was made by anybody outside this workshop, unless a result says so.",
        ],
        "care": [text(line) for line in said["printed"]["care"]],
        "cautions": [text(line) for line in said["printed"]["cautions"]],
        "meaning": text(said["meaning"]),
        "signer": text(said["printed_name"]),
        "role": text(said["role"]),
        "signed": when(said["utc"]),
        "verify": [
            "Anybody can check this paper offline: rig verify FILE --key public-key.json",
            f"with the public key from the workshop: {record.public_key}",
            f"statement SHA-256: {digest(canonical(said))}",
            f"entry {said['head']['seq']} of store {said['store']}: {said['head']['hash']}",
        ],
        "version": f"refurb-rig {text(said['version'])}; rules {text(said['rules']['name'])} "
        f"revision {text(said['rules']['revision'])}",
    }


def _span(runs: list[RecordedRun]) -> str:
    days = sorted({run.utc[:10] for run in runs})
    return days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}" if days else "none"


def _next_due(day: str) -> list[list[str]]:
    """Records of rules without one have none."""
    return [["Next check due", f"{day}, or sooner where a local code says so"]] if day else []


def _decontamination(job: Job) -> str:
    found = job.last(Decontaminated)
    if found is None:
        return "no statement"
    how = "declaration signed by" if found[1].how == "declaration" else "done in the workshop by"
    return f"{how} {text(found[1].signed_by)}, {found[0].utc[:10]}"


def _data(job: Job) -> str:
    found = job.last(DataLeft)
    if found is None:
        return "nothing on record"
    consent = f" ({text(found[1].consent)})" if found[1].consent else ""
    return {"none": "none in the unit", "left": "left alone"}.get(found[1].done, found[1].done) + consent


def _as_found(job: Job, runs: tuple[RecordedRun, ...]) -> list[str]:
    """What was wrong before anything was repaired."""
    first = min((entry.order for entry, _ in job.repairs), default=None)
    before = {r.run for r in job.runs if first is None or r.order < first}
    lines = []
    for run in runs:
        if run.run in before:
            bad = [step for step in run.steps if step.verdict in AGAINST]
            head = f"{text(run.started.procedure)}, {run.utc[:10]}"
            lines += [f"{head}: {step.name}: {step.verdict}, {reading_of(step)} where {limit_of(step)} is allowed"
                      for step in bad] or [f"{head}: nothing against the unit"]  # fmt: skip
    for entry, fact in job.all(Diagnosed):
        lines.append(f"cause: {text(fact.cause)}. {text(fact.words)} ({text(entry.by)})")
    return lines or ["not tested as found"]


def _work(job: Job, titles: dict[str, str]) -> Rows:
    rows = []
    for entry, fact in job.all(Repaired):
        for part in fact.parts:
            lot = text(part.lot) if part.condition != "none" else "no part fitted"
            title = text(titles.get(part.part, part.part))
            rows.append([entry.utc[:10], title, lot, part.condition, text(fact.cause), text(entry.by)])
    return rows


def _results(run: RecordedRun) -> dict[str, Any]:
    last: dict[str, StepResult] = {step.name: step for step in run.steps}
    return {
        "head": f"{text(run.started.procedure)} revision {text(run.started.revision)}, run {run.run}, "
        f"{when(run.utc)}, bench {text(run.started.bench)}" + (", SIMULATED" if run.started.simulated else ""),
        "rows": [
            [
                step.name,
                reading_of(step),
                limit_of(step),
                text(step.limit.source, 80) if step.limit is not None else "–",
                _verdict(step),
                who_of(step, run.started.by),
            ]
            for step in last.values()
        ],
    }


def _other_rules(runs: list[RecordedRun]) -> list[str]:
    """Steps that were decided otherwise than by the rule that is printed in full."""
    found = {(step.name, str(step.limit.rule)) for run in runs for step in run.steps
             if step.limit is not None and step.limit.rule != GUARDED}  # fmt: skip
    return [f"{text(name)}: {rule}" for name, rule in sorted(found)]


def _verdict(step: StepResult) -> str:
    if step.verdict is Verdict.NOT_EVALUATED and step.limit is None:
        return "not judged: no limit"
    again = f" (attempt {step.attempt})" if step.attempt > 1 else ""
    return f"{step.verdict}{again}"


def _again(job: Job, runs: tuple[RecordedRun, ...], grounds: list[str]) -> Rows:
    """Readings as found and as left, of steps that failed before the repair."""
    if not job.repairs:
        return []
    mended = {r.run: r.order > job.repairs[0][0].order for r in job.runs}
    before = {s.name: s for run in runs if not mended[run.run] for s in run.steps if s.verdict in AGAINST}
    after = {s.name: s for run in runs if mended[run.run] for s in run.steps}
    return [
        [name, f"{reading_of(step)} ({step.verdict})", f"{reading_of(after[name])} ({after[name].verdict})"]
        for name, step in before.items()
        if name in after
    ]


def _adjusted(job: Job) -> Rows:
    """Sensors and settings, where the reference read the same both times."""
    return [
        [
            f"{text(f.what)}, where {text(f.reference)} reads {f.against:g} {f.unit}",
            f"{f.as_found:g} {f.unit}",
            f"{f.as_left:g} {f.unit} ({text(f.adjusted)})",
        ]
        for _, f in job.all(Adjusted)
    ]


def _indicators(job: Job) -> Rows:
    read = {f.label: f"{f.result}, read by {text(f.reader)} on {f.on}" for _, f in job.all(IndicatorRead)}
    return [
        [text(f.label), f.kind, text(f.lot), f.expires, read.get(f.label, "no result yet")]
        for _, f in job.all(IndicatorPlaced)
    ]


def _instruments(runs: list[RecordedRun]) -> Rows:
    found = {(i.name, i.serial): i.calibrated_until for run in runs for i in run.began.instruments}
    rows = [[text(n), text(s), until or "no date on record"] for (n, s), until in sorted(found.items())]
    by_hand = {step.reading.instrument for run in runs for step in run.steps
               if step.reading is not None and step.reading.how == "by hand" and step.reading.instrument}  # fmt: skip
    strange = {said for said in by_hand if not any(is_meant(said, name, serial) for name, serial in found)}
    return rows + [[text(said), "read by hand", "no date on record"] for said in sorted(strange)]


def _environment(runs: tuple[RecordedRun, ...]) -> list[str]:
    latest = {step.name: reading_of(step) for run in runs for step in run.steps
              if step.name in ENVIRONMENT and step.reading is not None}  # fmt: skip
    return [f"{ENVIRONMENT[name]} {value}" for name, value in latest.items()] or ["not recorded"]


def _files(runs: list[RecordedRun]) -> Rows:
    found = {(f.kind, f.name, f.revision, f.sha256) for run in runs for f in run.began.files}
    return [[text(kind), text(name), text(revision), sha256[:16]] for kind, name, revision, sha256 in sorted(found)]
