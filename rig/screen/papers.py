"""What a run has on record, reading by reading, and what a certificate says, as lines."""

from __future__ import annotations

import re
from pathlib import Path

from rich.text import Text

from rig.cli.looks import Looks
from rig.cli.rows import wrapped
from rig.events import StepResult
from rig.plan.visible import visible
from rig.screen import palette
from rig.screen.actions import Done, act
from rig.screen.bench_text import judged_lines, steps_lines, summary_of
from rig.screen.words import Words


def run_story(store: str | None, run: str, words: Words, looks: Looks, width: int) -> list[Text]:
    """Every step of a run: readings with uncertainty, limit, decision rule and who says so. Raises RigError."""
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        record = records.read_run(run)
        problems = records.verify(run).problems
    started = record.started
    lines = [Text(words("paper.run", run=started.run[:13], procedure=visible(started.procedure),
                        serial=visible(started.serial) or "-", by=visible(started.by) or "-", utc=started.utc[:16]),
                  palette.HEAD)]  # fmt: skip
    lines += [Text(words("paper.chain-whole"))] if not problems else [Text(p, palette.CAUTION) for p in problems]
    for result in record.steps:
        lines += [Text(), *_step(result, words, looks, width)]
    return lines + summary_of(record.ended, record.steps, None, looks, width)


def _step(result: StepResult, words: Words, looks: Looks, width: int) -> list[Text]:
    if result.reading is None or result.limit is None:
        return steps_lines([result], looks, width)
    lines = judged_lines(result, words, looks, width)
    reading, limit = result.reading, result.limit
    lines += wrapped(Text(words("paper.rule", rule=str(limit.rule), source=visible(limit.source, 200))), width, 2)
    told = words("paper.taken", how=reading.how, instrument=visible(reading.instrument, 100) or "-")
    lines += wrapped(Text(told, palette.QUIET), width, 2)
    if result.reason:
        lines += wrapped(Text(visible(result.reason, 400)), width, 2)
    return lines


def make_certificate(store: str | None, number: str, file: Path | None = None) -> tuple[Done, list[Text]]:
    """The certificate of a released job, beside the records where no file is named; and what it says, or why there is
    none. Raises RigError."""
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        folder = records.folder / "papers"
    folder.mkdir(exist_ok=True)
    path = file or folder / f"certificate-{re.sub('[^A-Za-z0-9.-]', '-', number)}.pdf"
    done = act(["report", f"--job={number}", f"--certificate={path}", *([f"--store={store}"] if store else [])])
    return done, [Text(line) for line in done.lines] + (paper_text(path) if done.code == 0 else [])


def paper_text(path: Path) -> list[Text]:
    """What a PDF file says, line by line."""
    from pypdf import PdfReader

    return [Text(visible(line, 200)) for page in PdfReader(path).pages for line in page.extract_text().splitlines()]
