"""What tests of a whole run share: the bundled plans, and one run of them on the simulated bench."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from rig.events import Event, RunRecord, StepResult
from rig.plan.load import load, load_named
from rig.plan.plan import Plan, make_plan
from rig.run.journal import ListJournal
from rig.run.session import RunRequest, run_procedure
from tests import postgres
from tests.cli.small_procedures import LONG_WAIT, TWO_LOOKS


def bundled_plan(procedure: str = "incoming-inspection", unit: str = "demo-18-dc", bench: str = "simulated") -> Plan:
    """A plan of bundled files, or of a procedure file of a test's own."""
    steps = load(procedure) if procedure.endswith(".yaml") else load_named("procedure", procedure)
    return make_plan(steps, load_named("unit-profile", unit), load_named("bench", bench))


def run(plan: Plan, events: list[Event] | None = None, **request: Any) -> RunRecord:
    """Run a plan on its own station in lockstep; the events land in ``events``."""
    journal = ListJournal()
    record = run_procedure(RunRequest(run="test", **request), plan, [], lambda _: journal)
    if events is not None:
        events.extend(journal.events)
    return record


@cache
def inspection(seed: int, *faults: tuple[str, float]) -> RunRecord:
    """One incoming inspection, run once however many tests look at it."""
    return run(bundled_plan(), seed=seed, faults=faults)


def by_name(record: RunRecord) -> dict[str, StepResult]:
    """The last attempt of each step."""
    return {step.name: step for step in record.steps}


@pytest.fixture
def written(tmp_path: Path) -> Callable[[str], Plan]:
    """Makes a plan of a procedure's text, on the bundled unit and bench."""

    def make(text: str) -> Plan:
        path = tmp_path / "procedure.yaml"
        path.write_text(text, encoding="utf-8")
        return bundled_plan(str(path))

    return make


@pytest.fixture
def two_looks(tmp_path: Path) -> str:
    """The path of a procedure with a question and a reading."""
    path = tmp_path / "two-looks.yaml"
    path.write_text(TWO_LOOKS, encoding="utf-8")
    return str(path)


@pytest.fixture
def long_wait(tmp_path: Path) -> str:
    """The path of a procedure that waits for minutes while an output is on."""
    path = tmp_path / "long-wait.yaml"
    path.write_text(LONG_WAIT, encoding="utf-8")
    return str(path)


@pytest.fixture(autouse=True, scope="session")
def own_state(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Locks and latches of tests are nobody else's."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("RIG_STATE", str(tmp_path_factory.mktemp("state")))
        yield


@pytest.fixture(scope="session")
def server() -> Iterator[postgres.Server]:
    """PostgreSQL for all tests of this run that need one."""
    yield from postgres.serve()


@pytest.fixture
def shop_url(server: postgres.Server) -> Iterator[str]:
    """An empty database of PostgreSQL."""
    name = server.database()
    yield server.url(name)
    server.drop(name)
