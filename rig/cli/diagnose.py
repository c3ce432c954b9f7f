"""``rig diagnose``: what is likely behind a complaint, why, and what to look at next."""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import click

from rig.cli.codes import PASSED
from rig.cli.options import json_option, print_json, printable, store_option

if TYPE_CHECKING:
    from rig.cli.records_of import OnRecord
    from rig.diagnosis.diagnosis import Diagnosis
    from rig.diagnosis.evidence import Evidence
    from rig.diagnosis.learn import Knowledge
    from rig.diagnosis.unit_table import UnitTable
    from rig.plan.profile import UnitProfile


@click.command("diagnose")
@click.option("--complaint", metavar="NAME", help="What is wrong: a complaint's name, or the file of its causes.")
@click.option("--run", "run", metavar="ID", help="Take what one run on record says.")
@click.option("--job", metavar="N", callback=printable, help="Take what all runs of a job say.")
@click.option("--unit", metavar="NAME", help="The unit profile, where no run tells it.")
@click.option("--answers", metavar="FILE", help="Prepared answers: YAML, the observation's name and its answer.")
@click.option("--who", type=click.Choice(["owner", "technician"]),
              help="Who looks: an owner without tools, or a technician. Owner for a complaint alone.")  # fmt: skip
@click.option("--sources", is_flag=True, help="Say where the starting chances come from.")
@store_option
@json_option
def command(**options: Any) -> int:
    """Rank the causes of a complaint, and say what tells them apart.

    \b
    Examples:
      rig diagnose --run 019f22e2
      rig diagnose --complaint no-water-level --unit demo-18-dc
      rig diagnose --complaint no-water-level --answers answers.yaml --json

    With a complaint alone, questions are asked that an owner can answer over the telephone ("don't know" always
    will do); they are read on standard input, and shown on standard error. The end of the input ends them.
    """
    wanted = Wanted(**options)
    asked = [o for o in (wanted.complaint, wanted.run, wanted.job) if o is not None]
    if not asked:
        raise click.UsageError("expected --complaint NAME, --run ID or --job N")
    from rig.cli.diagnosis_view import show
    from rig.cli.printer import Printer
    from rig.diagnosis.diagnosis import as_dict

    found = perform(wanted)
    if wanted.as_json:
        print_json(as_dict(found))
    else:
        show(found, Printer(sys.stdout), wanted.sources)
    return PASSED


@dataclass(frozen=True)
class Wanted:
    """What a command line asks for."""

    complaint: str | None = None
    run: str | None = None
    job: str | None = None
    unit: str | None = None
    answers: str | None = None
    who: str | None = None
    sources: bool = False
    store: str | None = None
    as_json: bool = False

    @property
    def owner(self) -> bool:
        """Whether an owner looks, at the owner's premises."""
        return self.who == "owner" or (self.who is None and self.run is None and self.job is None)


def perform(wanted: Wanted) -> Diagnosis:
    """The diagnosis that is asked for."""
    from rig.cli.questions import Questions
    from rig.cli.records_of import what_is_on_record
    from rig.diagnosis.answers import read_answers
    from rig.diagnosis.diagnosis import diagnose

    kept = what_is_on_record(wanted.run, wanted.job, wanted.store)
    profile = _profile(wanted.unit or kept.unit)
    table = _table(wanted, kept, profile)
    evidence = kept.evidence(table.observations)
    found = list(evidence.found)
    prepared = read_answers(wanted.answers, dict(table.observations)) if wanted.answers is not None else {}
    cured = frozenset(evidence.cured)
    found += [replace(e, cured=cured) for e in prepared.values() if e is not None]
    _caution(table)
    paid = _paid(table, found)
    knowledge = _knowledge(wanted, table)
    asked = frozenset(prepared)
    if wanted.answers is None and not kept.records:
        found, asked = Questions(table, knowledge, wanted.owner).ask(found)
    return diagnose(table, found, knowledge, cured=evidence.cured, paid=paid, owner_only=wanted.owner, unknown=asked)


def _profile(name: str) -> UnitProfile | None:
    from rig.plan.load import load_named
    from rig.plan.profile import UnitProfile

    if not name:
        return None
    profile = load_named("unit-profile", name).model
    assert isinstance(profile, UnitProfile)
    return profile


def _table(wanted: Wanted, kept: OnRecord, profile: UnitProfile | None) -> UnitTable:
    """The table that is asked for; where none is, the one that explains the runs best."""
    from rig.diagnosis.complaint import likeliest_complaint
    from rig.diagnosis.model import build
    from rig.diagnosis.unit_table import for_unit
    from rig.plan.causes import CauseTable
    from rig.plan.load import bundled, load_named

    own = wanted.complaint or (kept.complaint if kept.complaint in bundled("complaint") else None)
    names = [own] if own else list(bundled("complaint"))
    models = [load_named("complaint", name).model for name in names]
    place = "field" if wanted.owner else "bench"
    tables = [for_unit(m, profile, place) for m in models if isinstance(m, CauseTable)]
    if len(tables) == 1:
        return tables[0]
    known = [(table, _knowledge(wanted, table)) for table in tables]
    found, why = likeliest_complaint([build(t, k.degrees(t), k.start(t)) for t, k in known], kept.records)
    print(f"complaint: {found.table.complaint} ({why})", file=sys.stderr)
    return found.table


def _knowledge(wanted: Wanted, table: UnitTable) -> Knowledge:
    """What the simulator and the shop know of this unit beside its table."""
    from datetime import UTC, datetime

    from rig.cli.likelihoods import own_file
    from rig.cli.records_of import shop_cases
    from rig.diagnosis.learn import Knowledge
    from rig.diagnosis.likelihoods import kept

    simulated = kept(table.unit, table.complaint, own_file(table.unit)) if table.unit else None
    return Knowledge(shop_cases(wanted.store, table.table, wanted.job), simulated, datetime.now(UTC))


def _caution(table: UnitTable) -> None:
    """Cautions come before anything is asked or proposed."""
    for text in table.table.cautions:
        print(f"CAUTION {text}", file=sys.stderr)


def _paid(table: UnitTable, found: list[Evidence]) -> frozenset[str]:
    """The covers that a run on the bench has had off. What a run did is over; only what stays open is paid."""
    covers = {n for n, s in table.table.set_ups.items() if s.cover}
    had = {s for e in found if e.source.startswith("run ") for s in table.observations[e.observation].set_ups}
    return frozenset(covers & had)
