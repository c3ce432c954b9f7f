"""What can be proved of a plan before power is applied. One function a rule; each yields its faults.

Rules about names, readings, limits, formulas and energy live in files of their own; a new rule is one more function
in the ``RULES`` of the file that it belongs to.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from rig.errors import Fault
from rig.plan import (
    proof_formulas,
    proof_interlocks,
    proof_limits,
    proof_names,
    proof_power,
    proof_ratio,
    proof_readings,
    proof_units,
)
from rig.plan.formula import CONSTANTS
from rig.plan.load import Loaded
from rig.plan.profile import UnitProfile
from rig.plan.proof_bench import prove_bench
from rig.plan.proof_paths import prove_paths, warn_of_paths
from rig.plan.view import View, make_view

Rule = Callable[[View], Iterator[Fault]]

RULES: tuple[Rule, ...] = (
    *proof_names.RULES,
    *proof_readings.RULES,
    *proof_limits.RULES,
    *proof_formulas.RULES,
    *proof_power.RULES,
    *proof_interlocks.RULES,
    *proof_units.RULES,
)

# What readings are worth is worked out from all of the files: asked when nothing else is wrong with them.
LAST: tuple[Rule, ...] = proof_ratio.RULES

# What must be so before paths can be followed on a bench that is whole: every name leads somewhere.
LEADING: tuple[Rule, ...] = (*proof_names.RULES, *proof_units.RULES)

# What is no fault and should be known before the run all the same.
WARNINGS: tuple[Rule, ...] = (*proof_ratio.WARNINGS,)


def prove(procedure: Loaded, profile: Loaded | None, bench: Loaded) -> list[Fault]:
    """Every fault of the three files together, sorted by place. Empty where the plan may run.

    Raises TypeError when a file is of another kind than its place asks for.
    """
    view = make_view(procedure, profile, bench)
    if view.procedure.needs_unit == "yes" and profile is None:
        return [procedure.fault((), "this procedure is for a unit, and no unit profile was given")]
    on_bench = prove_bench(bench)
    faults = [*on_bench, *(fault for rule in RULES for fault in rule(view))]
    if profile is not None:
        faults += prove_profile(profile)
    if not on_bench and not any(fault for rule in LEADING for fault in rule(view)):
        places = {(f.file, f.line, f.column) for f in faults}
        faults += [f for f in prove_paths(view) if (f.file, f.line, f.column) not in places]
    return sorted(set(faults or (fault for rule in LAST for fault in rule(view))))


def warn(procedure: Loaded, profile: Loaded | None, bench: Loaded) -> list[Fault]:
    """What is no fault of a plan that may run, but should be known before it does, sorted by place; nothing of a bench
    that is not in order. Raises as :func:`prove`."""
    if prove_bench(bench):
        return []
    view = make_view(procedure, profile, bench)
    found = {fault for rule in WARNINGS for fault in rule(view)}
    if not any(fault for rule in LEADING for fault in rule(view)):
        found |= set(warn_of_paths(view))
    return sorted(found)


def prove_profile(loaded: Loaded) -> list[Fault]:
    """Every fault of a unit profile by itself. Raises TypeError for a file of another kind."""
    if not isinstance(loaded.model, UnitProfile):
        raise TypeError(f"expected a unit profile, found {loaded.kind}")
    faults = []
    for path in CONSTANTS:
        group, _, name = path.partition(".")
        if name in loaded.model.facts.get(group, {}):
            message = f"formulas know '{path}' as a constant of nature; give the fact another name"
            faults.append(loaded.fault(("facts", group, name), message))
    return faults
