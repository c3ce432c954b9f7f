"""A simulated station in a process of its own that notes every change of a relay coil as it saw it itself.

    python -m tests.faults.kills.served LOG BENCH_FILE SPEED SEED

LOG gets lines of JSON: {"t": seconds of the system's monotonic clock, "board": …, "on": [channels]}. It ends when its
standard input does.
"""

from __future__ import annotations

import asyncio
import json
import re
import sys
import time
from pathlib import Path
from typing import Any

from simulators.station import start

LOOK_EVERY = 0.002
BOARDS = (1, 4)


def bench_file(addresses: dict[str, Any], speed: float) -> str:
    """The bundled simulated bench, at this station's addresses."""
    source = Path(__file__).parents[3] / "procedures" / "benches" / "simulated.yaml"
    text = source.read_text(encoding="utf-8").replace("station: demo", f"speed: {speed}")

    def resolved(match: re.Match[str]) -> str:
        host, port = str(addresses[match["link"]]).rpartition(":")[::2]
        visa = match["protocol"] == "visa"
        address = f"TCPIP::{host}::{port}::SOCKET" if visa else f"{host}:{port}"
        return f'  {match["link"]}: {{protocol: {match["protocol"]}, address: "{address}"}}'

    return re.sub(r"  (?P<link>[a-z]+): \{protocol: (?P<protocol>[a-z-]+), address: station\}", resolved, text)


async def serve(log: Path, file: Path, speed: float, seed: int) -> None:
    """Serve until standard input ends."""
    station = await start("demo-18-dc", {}, seed, lockstep=False, speed=speed)
    addresses = dict(station.addresses)
    last: dict[int, list[int]] = {}
    loop = asyncio.get_running_loop()
    ended = asyncio.Event()
    loop.add_reader(sys.stdin.fileno(), lambda: ended.set() if not sys.stdin.buffer.read1(4096) else None)
    with log.open("a", buffering=1, encoding="utf-8") as out:
        temporary = file.with_suffix(".part")
        temporary.write_text(bench_file(addresses, speed), encoding="utf-8")
        temporary.rename(file)
        while not ended.is_set():
            for board in BOARDS:
                on = [n for n, driven in enumerate(station.plant.coils(board)) if driven]
                if on != last.get(board):
                    last[board] = on
                    out.write(json.dumps({"t": time.monotonic(), "board": board, "on": on}) + "\n")
            await asyncio.sleep(LOOK_EVERY)
    await station.close()


if __name__ == "__main__":
    asyncio.run(serve(Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3]), int(sys.argv[4])))
