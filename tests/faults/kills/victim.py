"""A run that does something to itself, or to its second process, at the k-th event.

    python -m tests.faults.kills.victim BENCH_FILE STORE RUN SHOWN KIND K

SHOWN gets the name and value of every reading at the moment at which a person would have seen it, and last a line
{"struck": monotonic seconds}, or {"ended": verdict, "events": how many there were} when nothing was struck.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from pathlib import Path
from typing import TextIO

from rig.events import Event, StepEnded
from rig.plan.load import load, load_named
from rig.plan.plan import make_plan
from rig.records.store import Store
from rig.run.session import RunRequest, run_procedure

KINDS = ("kill-first", "stop-first", "kill-second", "stop-second", "kill-both", "stop-both", "terminal")


def second_process() -> int:
    """The process number of this run's second process."""
    children = Path(f"/proc/{os.getpid()}/task/{os.getpid()}/children").read_text(encoding="ascii").split()
    for child in children:
        if b"watchman" in Path(f"/proc/{child}/cmdline").read_bytes():
            return int(child)
    raise LookupError("no second process")


def strike(kind: str) -> None:
    """Do it."""
    deed = signal.SIGKILL if kind.startswith("kill") else signal.SIGSTOP
    if kind.endswith(("second", "both")):
        os.kill(second_process(), deed)
    if kind.endswith(("first", "both")):
        os.kill(os.getpid(), deed)
    # 'terminal': the one who watches the file closes it


class Striker:
    """Counts events, writes down what is shown, and strikes."""

    def __init__(self, out: TextIO, kind: str, at: int) -> None:
        self.out, self.kind, self.left, self.seen = out, kind, at, 0

    def __call__(self, event: Event) -> None:
        if isinstance(event, StepEnded):
            reading = event.result.reading
            value = None if reading is None else reading.value
            self.out.write(json.dumps({"shown": event.result.name, "value": value}) + "\n")
            self.out.flush()
        self.seen += 1
        self.left -= 1
        if self.left == 0:
            second = second_process() if self.kind.endswith(("second", "both")) else None
            self.out.write(json.dumps({"struck": time.monotonic(), "second": second}) + "\n")
            self.out.flush()
            strike(self.kind)


def main() -> None:
    bench, store, run, shown, kind, at = sys.argv[1:]
    plan = make_plan(
        load(Path(__file__).parent / "strike.yaml"),
        load_named("unit-profile", "demo-18-dc"),
        load_named("bench", bench),
    )
    with Store.open(f"sqlite:///{store}") as records, open(shown, "a", encoding="utf-8") as out:
        striker = Striker(out, kind, int(at))
        record = run_procedure(
            RunRequest(run=run, lockstep=False, person="simulated"),
            plan,
            [striker],
            records.journal,
        )
        said = {"ended": str(record.ended.verdict), "all-off": record.ended.all_off, "events": striker.seen}
        out.write(json.dumps(said) + "\n")


if __name__ == "__main__":
    main()
