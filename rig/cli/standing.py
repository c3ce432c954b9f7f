"""What the rules of release are asked with: the shop's rules, the files that come with the rig, today."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

from rig.errors import InputError, RigError, RuleError

if TYPE_CHECKING:
    from rig.plan.load import Loaded
    from rig.plan.profile import UnitProfile
    from rig.plan.rules import ShopRules
    from rig.records.facts import FileUsed
    from rig.records.grounds import Standing
    from rig.records.job import Job
    from rig.records.store import Store

RULES = "low-mill"
OTHER_CAUSE = "other"
KINDS = ("procedure", "unit-profile", "bench", "shop-rules")


def today() -> date:
    """The day in UTC, as everything on record."""
    return datetime.now(UTC).date()


def file_used(loaded: Loaded) -> FileUsed:
    """A file's kind, name, revision and hash, as they are kept."""
    from rig.records.facts import FileUsed

    name = str(getattr(loaded.model, loaded.kind.replace("-", "_")))
    try:
        sha256 = hashlib.sha256(loaded.path.read_bytes()).hexdigest()
    except OSError as fault:
        raise InputError(f"cannot be read: {fault}", "Try again.", loaded.file) from None
    return FileUsed(loaded.kind, name, str(getattr(loaded.model, "revision", "")), sha256)


def bundled_hashes() -> dict[tuple[str, str], str]:
    """The hash of every file that comes with the rig, by kind and name."""
    from rig.plan.load import bundled

    return {
        (kind, name): hashlib.sha256(path.read_bytes()).hexdigest()
        for kind in KINDS
        for name, path in bundled(kind).items()
    }


def shop_rules(store: Store | None, name: str = RULES) -> ShopRules:
    """The shop's rules: those that come with the rig, or a file that QA has put in force. Raises RuleError."""
    from rig.plan.load import load_named
    from rig.plan.rules import ShopRules
    from rig.records.declared import in_force

    loaded = load_named("shop-rules", name)
    assert isinstance(loaded.model, ShopRules)
    used = file_used(loaded)
    if store is not None and used.sha256 != bundled_hashes().get((used.kind, used.name)):
        with store.reading() as connection:
            approved = in_force(connection).get((used.kind, used.name))
        if approved is None or approved.sha256 != used.sha256:
            do = "QA does it with 'rig store approve FILE'."
            raise RuleError(f"the rules {used.name} were not put in force as they stand", do, loaded.file)
    return loaded.model


def due_in(store: Store) -> Callable[[Job], str]:
    """What is due in a job, by the shop's rules; where they are not in force, by the job alone: lists are shown."""
    from rig.records.release import due

    try:
        rules = shop_rules(store)
    except RigError:
        return lambda job: job.due
    return lambda job: due(job, rules)


def must_be_cause(name: str) -> str:
    """A cause as the tables name it, or 'other'. Raises InputError with the nearest.

    A confirmed repair teaches the tables: under a word of nobody's it would teach nothing."""
    from rig.plan.causes import CauseTable
    from rig.plan.load import bundled, load_named
    from rig.plan.messages import nearest

    known: set[str] = {OTHER_CAUSE}
    for complaint in bundled("complaint"):
        table = load_named("complaint", complaint).model
        assert isinstance(table, CauseTable)
        known |= set(table.causes)
    if name not in known:
        do = f"The tables of complaints have them; '{OTHER_CAUSE}', with words, where none fits."
        raise InputError(f"no table has a cause {name[:60]!r}{nearest(name, known)}", do, "--cause")
    return name


def site_causes() -> frozenset[str]:
    """The causes of all tables that stay at the owner's."""
    from rig.plan.causes import CauseTable
    from rig.plan.load import bundled, load_named

    found: set[str] = set()
    for complaint in bundled("complaint"):
        table = load_named("complaint", complaint).model
        assert isinstance(table, CauseTable)
        found |= {name for name, cause in table.causes.items() if cause.belongs_to == "site"}
    return frozenset(found)


def standing_for(store: Store, job: Job, rules: ShopRules) -> Standing:
    """What a job's release is asked with."""
    from rig.records.declared import declared
    from rig.records.grounds import Standing

    profile = _profile(job)
    return Standing(
        rules=rules,
        own=declared(store),
        today=today(),
        bundled=bundled_hashes(),
        conditional_pass=() if profile is None else profile.conditional_pass,
        measurable=None if profile is None else _steps_for(profile),
    )


def _profile(job: Job) -> UnitProfile | None:
    from rig.plan.load import bundled, load_named
    from rig.plan.profile import UnitProfile

    if job.received.unit not in bundled("unit-profile"):
        return None
    model = load_named("unit-profile", job.received.unit).model
    assert isinstance(model, UnitProfile)
    return model


def _steps_for(profile: UnitProfile) -> frozenset[str]:
    """Every step that some procedure has for this unit."""
    from rig.plan.for_units import step_names
    from rig.plan.load import bundled, load_named
    from rig.plan.procedure import Procedure

    found: set[str] = set()
    for name in bundled("procedure"):
        procedure = load_named("procedure", name).model
        assert isinstance(procedure, Procedure)
        found |= step_names(procedure, profile)
    return frozenset(found)
