"""The second process takes a bench for standing still only when it does."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from rig.bench import watcher
from rig.bench.watcher import Watcher
from tests.conftest import bundled_plan


async def ordered(own: bool, monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """What the second process of a bench on serial lines is told while nobody beats."""
    monkeypatch.setattr(watcher, "PULSE_EVERY", 0.001)
    monkeypatch.setattr(watcher, "BEAT_EVERY", 0.0)
    wiring = bundled_plan(bench="simulated-rtu").bench
    second = Watcher.start(wiring)
    told: list[dict[str, Any]] = []
    passed_on = second._order

    def order(what: dict[str, Any]) -> bool:
        told.append(what)
        return passed_on(what)

    monkeypatch.setattr(second, "_order", order)
    links = {
        name: link.model_copy(update={"address": "127.0.0.1:1", "baud": 19_200}) for name, link in wiring.links.items()
    }
    try:
        await second.arm(links, own, None)
        for _ in range(100):
            await asyncio.sleep(0.001)
    finally:
        await second.finish(confirmed=True)
    at_the_end = len(told)
    await asyncio.sleep(0.01)
    assert len(told) == at_the_end  # nobody beats for a run that is over
    return told


def test_a_bench_in_this_process_lives_as_long_as_its_loop_turns(monkeypatch: pytest.MonkeyPatch) -> None:
    told = asyncio.run(ordered(True, monkeypatch))
    assert told[0]["arm"]["kill"] is False  # with this process its boards would go, too: there is nothing to save
    assert {"beat": 1} in told


def test_a_real_bench_lives_only_while_its_watch_does(monkeypatch: pytest.MonkeyPatch) -> None:
    told = asyncio.run(ordered(False, monkeypatch))
    assert told[0]["arm"]["kill"] is True  # else the serial lines stay in the hand of a process that stands still
    assert {"beat": 1} not in told
