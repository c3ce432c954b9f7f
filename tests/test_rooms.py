"""Who may import whom. Data runs one way; nothing below knows what stands above it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

GROUND = (
    "rig.errors", "rig.quantities", "rig.distributions", "rig.uncertainty", "rig.limits", "rig.events", "rig.steam",
)  # fmt: skip
MAY: dict[str, tuple[str, ...]] = {
    "rig/judgement": (*GROUND, "rig.judgement"),
    "rig/waveforms": (*GROUND, "rig.waveforms"),
    "rig/health": (*GROUND, "rig.health"),
    "rig/plan": (*GROUND, "rig.judgement", "rig.plan"),
    "rig/bench": (*GROUND, "rig.judgement", "rig.plan", "rig.bench"),
    "rig/run": (*GROUND, "rig.judgement", "rig.waveforms", "rig.plan", "rig.bench", "rig.run"),
    "rig/records": (*GROUND, "rig.__version__", "rig.health", "rig.plan", "rig.run.journal", "rig.records"),
    "rig/shop": (*GROUND, "rig.health", "rig.plan", "rig.records", "rig.shop"),
    "rig/shown": (*GROUND, "rig.shown"),
    "rig/reports": (*GROUND, "rig.plan", "rig.records", "rig.shop", "rig.shown", "rig.reports"),
    "rig/diagnosis": (*GROUND, "rig.plan", "rig.records", "rig.diagnosis"),
    "rig/cli": (
        *(f"rig.{room}" for room in ("judgement", "waveforms", "health", "plan", "bench", "run", "records")),
        "rig.shop",
        "rig.shown",
        "rig.reports",
        "rig.diagnosis",
        "rig.cli",
        "rig.__version__",
        *GROUND,
    ),
    "rig/screen": (
        *GROUND,
        "rig.plan",
        "rig.bench",
        "rig.run",
        "rig.records",
        "rig.diagnosis",
        "rig.shown",
        "rig.cli",
        "rig.screen",
    ),
    "drivers": ("rig.errors", "rig.quantities", "rig.bench.ports", "rig.bench.clock", "rig.plan.wiring", "drivers"),
    "simulators": ("simulators",),
    "procedures": (),
}
OURS = ("rig", "drivers", "simulators", "procedures")


def imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (a.name for a in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield from (f"rig.{a.name}" for a in node.names) if node.module == "rig" else (f"{node.module}",)


@pytest.mark.parametrize("room", MAY)
def test_a_room_imports_only_what_lies_below(room: str) -> None:
    files = sorted((ROOT / room).rglob("*.py"))
    assert files
    for path in files:
        for name in imports(path):
            if name.split(".")[0] in OURS:
                assert any(name == m or name.startswith(f"{m}.") for m in MAY[room]), f"{path}: imports {name}"


def test_the_ground_floor_stands_on_itself() -> None:
    for module in GROUND:
        path = ROOT / f"{module.replace('.', '/')}.py"
        for name in imports(path):
            assert name.split(".")[0] not in OURS or name in GROUND, f"{path}: imports {name}"


def test_the_top_level_is_the_design_card() -> None:
    known = {"README.md", "DEVELOPERS.md", "pyproject.toml", "rig", "procedures", "drivers", "tests", "simulators"}
    tracked = {p.name for p in ROOT.iterdir() if not p.name.startswith(".") and not p.name.endswith(".egg-info")}
    assert tracked - {"build", "dist"} == known


def test_files_are_one_idea_each() -> None:
    for room in OURS:
        for path in (ROOT / room).rglob("*.py"):
            lines = path.read_text(encoding="utf-8").count("\n")
            assert lines <= 400, f"{path}: {lines} lines"
