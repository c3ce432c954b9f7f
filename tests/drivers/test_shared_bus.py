"""Several askers on one Modbus bus at real pace: whoever is cancelled while waiting leaves the exchange alone."""

from __future__ import annotations

import asyncio

from rig.bench.opening import StationOrder, open_bench
from tests.conftest import bundled_plan


def test_a_cancelled_waiter_does_not_break_the_exchange_that_is_under_way() -> None:
    async def main() -> list[str]:
        bench = await open_bench(bundled_plan().bench, StationOrder(unit="demo-18-dc", lockstep=False), lambda e: None)
        try:
            states: list[str] = []

            async def poll() -> None:
                for _ in range(10):
                    states.append((await bench.live.state("level-probe")).value)

            poller = asyncio.create_task(poll())
            while not poller.done():
                waiting = asyncio.create_task(bench.live.state("lid"))
                await asyncio.sleep(0)
                await asyncio.sleep(0)
                waiting.cancel()
                await asyncio.wait([waiting])
                await asyncio.sleep(0.001)
            await poller  # raises NoAnswer if its link was dropped under it
            assert (await bench.live.outputs.all_off()).confirmed
            return states
        finally:
            await bench.close()

    assert asyncio.run(main()) == ["dry"] * 10
