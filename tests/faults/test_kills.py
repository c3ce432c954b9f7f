"""Whoever dies, at whatever moment: every output falls in time, as the station itself saw it, and no reading is lost.

The long form, 1,000 strikes at moments drawn uniformly over the run, is one command:

    RIG_KILLS=1000 python -m tests.faults.test_kills
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path

import pytest

from tests.faults.kills.trial import OFF_WITHIN, Outcome, trial

AT_ONCE = 6
SHOWN_EVERY = 50  # trials between two tables of the long form


TRIES = 4  # a run may end before its k-th event when the machine is busy: then k is drawn anew


@cache
def events() -> int:
    """How many events an undisturbed run has against the served station."""
    with tempfile.TemporaryDirectory() as folder:
        outcome = trial("kill-first", 1_000_000, 3, Path(folder))
    assert outcome.events is not None, "the rehearsal did not come to its end"
    return outcome.events


def draw(count: int, seed: int) -> list[tuple[str, int, int]]:
    """Kind, event and seed of so many strikes, the event uniform over the run."""
    source = random.Random(seed)
    kinds = list(OFF_WITHIN)
    return [(kinds[n % len(kinds)], source.randrange(1, events() + 1), source.randrange(1000)) for n in range(count)]


def strike(job: tuple[str, int, int]) -> Outcome:
    """One trial in a folder of its own, until it has struck."""
    kind, k, seed = job
    source = random.Random(f"{kind} {k} {seed}")
    for _ in range(TRIES):
        with tempfile.TemporaryDirectory() as folder:
            outcome = trial(kind, k, seed, Path(folder))
        if outcome.struck or not outcome.good or not outcome.events:
            break
        k = source.randrange(1, outcome.events + 1)
    return outcome


def strike_all(jobs: list[tuple[str, int, int]], at_once: int) -> Iterator[Outcome]:
    """Several trials beside each other: most of one is waiting."""
    with ThreadPoolExecutor(at_once) as pool:
        yield from pool.map(strike, jobs)


@pytest.mark.timeout(600)
def test_every_kind_of_strike_once_in_the_fill_and_once_anywhere() -> None:
    jobs = [(kind, events() // 2, 3) for kind in OFF_WITHIN] + draw(len(OFF_WITHIN), seed=1)
    outcomes = list(strike_all(jobs, AT_ONCE))
    assert [o for o in outcomes if not o.good] == []
    assert all(o.struck for o in outcomes)
    assert any(o.off_after is not None for o in outcomes)


def table(outcomes: list[Outcome]) -> Iterator[str]:
    """What the strikes came to, a line a kind."""
    for kind, within in OFF_WITHIN.items():
        own = [o for o in outcomes if o.kind == kind]
        times = sorted(o.off_after for o in own if o.struck and o.off_after is not None)
        worst = f"{times[-1]:.3f} s, median {times[len(times) // 2]:.3f} s" if times else "-"
        yield (
            f"{kind:12s} {len(own):5d} trials, {sum(o.struck for o in own):5d} struck, {len(times):5d} with power on; "
            f"off after at most {worst} (allowed {within:g} s); readings lost {sum(len(o.lost) for o in own)}"
        )


def main() -> None:
    """The long form: prints each trial that was not good, and a table by kind, as far as it has come."""
    count, began = int(os.environ.get("RIG_KILLS", "100")), time.monotonic()
    outcomes: list[Outcome] = []
    for outcome in strike_all(draw(count, seed=int(os.environ.get("RIG_SEED", "2"))), AT_ONCE):
        outcomes.append(outcome)
        if not outcome.good or not outcome.struck:
            print("NOT GOOD" if not outcome.good else "NOT STRUCK", outcome, flush=True)
        if len(outcomes) % SHOWN_EVERY == 0 or len(outcomes) == count:
            bad = sum(not o.good for o in outcomes)
            print(*table(outcomes), sep="\n")
            print(f"{len(outcomes)} trials, {bad} not good, {time.monotonic() - began:.0f} s", flush=True)
    sys.exit(any(not o.good for o in outcomes))


if __name__ == "__main__":
    main()
