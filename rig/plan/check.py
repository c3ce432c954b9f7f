"""``rig check``: read files of any kind that we define, and prove what can be proved before power."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

from rig.errors import Fault, InputError
from rig.plan.load import Loaded, bundled, load_named, load_tree
from rig.plan.proof import prove, prove_profile, warn
from rig.plan.proof_bench import prove_bench
from rig.plan.proof_causes import prove_causes
from rig.plan.proof_ratio import Ratio, ratios
from rig.plan.source import Mapping, read, walk
from rig.plan.view import make_view

DEFAULT_BENCH = "simulated"
DEFAULT_UNIT = "demo-18-dc"

# What can be said of a file by itself; a procedure can only be proved together with a bench.
ALONE: dict[str, Callable[[Loaded], list[Fault]]] = {
    "bench": prove_bench,
    "unit-profile": prove_profile,
    "complaint": prove_causes,
}


@dataclass
class _Given:
    """The files that could be read, and the kinds of those that could not."""

    loaded: list[Loaded] = field(default_factory=list)
    broken: set[str] = field(default_factory=set)
    faults: list[Fault] = field(default_factory=list)

    def of(self, kind: str) -> list[Loaded]:
        return [found for found in self.loaded if found.kind == kind]


@dataclass(frozen=True)
class Checked:
    """What was found, each sorted by place: ``faults`` refuse a run, ``warnings`` do not."""

    faults: tuple[Fault, ...]
    warnings: tuple[Fault, ...]


def check(paths: Iterable[str | os.PathLike[str]], bench: str | None = None, unit: str | None = None) -> list[Fault]:
    """Every fault of the files, sorted by place. As :func:`look_over`."""
    return list(look_over(paths, bench, unit).faults)


def look_over(paths: Iterable[str | os.PathLike[str]], bench: str | None = None, unit: str | None = None) -> Checked:
    """Every fault and every warning of the files.

    A procedure is proved against every bench and profile given together with it; where none is given, against
    ``bench`` and ``unit`` (names or paths), else the bundled ones that a run takes by itself; one that tells units
    apart against every bundled profile. A file that cannot be read is one fault. Raises
    InputError when ``bench`` or ``unit`` is a name that does not exist.
    """
    given = _Given()
    for path in dict.fromkeys(map(Path, paths)):
        _read(path, given)
    procedures = given.of("procedure")
    benches = _beside("bench", bench, DEFAULT_BENCH, given) if procedures else []
    profiles: list[Loaded | None] = []
    if procedures:
        profiles += _beside("unit-profile", unit, DEFAULT_UNIT, given)
    for loaded in given.loaded:
        if loaded.kind in ALONE:
            given.faults += ALONE[loaded.kind](loaded)
    every = unit is None and not given.of("unit-profile") and "unit-profile" not in given.broken
    warnings: list[Fault] = []
    for procedure in procedures:
        units = _all_units() if every and _tells_units_apart(procedure) else profiles
        given.faults += _with_all(prove, procedure, units, benches)
        warnings += _with_all(warn, procedure, units, benches)
    return Checked(tuple(sorted(set(given.faults))), tuple(sorted(set(warnings))))


def expected_ratios(
    paths: Iterable[str | os.PathLike[str]], bench: str | None = None, unit: str | None = None
) -> list[tuple[str, str, Ratio]]:
    """What is known before the run of every limit of the procedures among the files, with the unit profile's and the
    procedure's name. Files that are not in order give nothing. Raises as :func:`look_over`."""
    given = _Given()
    for path in dict.fromkeys(map(Path, paths)):
        _read(path, given)
    procedures = given.of("procedure")
    benches = _beside("bench", bench, DEFAULT_BENCH, given) if procedures else []
    units = _beside("unit-profile", unit, DEFAULT_UNIT, given) if procedures else []
    found = []
    for procedure in procedures:
        for profile in units if _needs_unit(procedure) else [None]:
            for wired in benches[:1]:
                if not prove(procedure, profile, wired):
                    name = "" if profile is None else profile.path.stem
                    found += [
                        (procedure.path.stem, name, each) for each in ratios(make_view(procedure, profile, wired))
                    ]
    return found


def _read(path: Path, given: _Given) -> None:
    try:
        tree = read(path)
    except InputError as error:
        given.faults += error.faults
        return
    try:
        given.loaded.append(load_tree(tree, path))
    except InputError as error:
        given.faults += error.faults
        if isinstance(tree, Mapping) and tree.entries:
            given.broken.add(tree.entries[0].key)


def _beside(kind: str, asked: str | None, default: str, given: _Given) -> list[Loaded]:
    """What procedures are proved with. A broken bench is not replaced by another: its faults come first."""
    found = given.of(kind)
    if asked is not None:
        try:
            found.append(load_named(kind, asked))
        except InputError as error:
            if not error.faults:
                raise
            given.faults += error.faults
            return found
    if not found and kind not in given.broken:
        found = [load_named(kind, default)]
    return found


def _tells_units_apart(procedure: Loaded) -> bool:
    return any(isinstance(node, Mapping) and node.entry("for-units") is not None for node in walk(procedure.tree))


def _all_units() -> list[Loaded | None]:
    return [load_named("unit-profile", name) for name in bundled("unit-profile")]


def _needs_unit(procedure: Loaded) -> bool:
    entry = procedure.tree.entry("needs-unit")
    return entry is None or getattr(entry.value, "value", None) != "no"


Look = Callable[[Loaded, Loaded | None, Loaded], list[Fault]]


def _with_all(look: Look, procedure: Loaded, profiles: list[Loaded | None], benches: list[Loaded]) -> list[Fault]:
    """The faults of a procedure with each bench and profile; one that not all share says with which it comes."""
    units = profiles if _needs_unit(procedure) else [None]
    together = [(bench, unit, set(look(procedure, unit, bench))) for bench in benches for unit in units]
    if not together:
        return []
    common = set.intersection(*(faults for _, _, faults in together))
    found = list(common)
    for bench, unit, faults in together:
        beside = f"bench {bench.path.stem}" + (f", unit {unit.path.stem}" if unit is not None else "")
        found += [replace(f, message=f"{f.message} (with {beside})") for f in faults - common]
    return found
