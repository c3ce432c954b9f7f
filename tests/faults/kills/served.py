"""A simulated station in a process of its own that notes every change of a relay coil as it saw it itself.

    python -m tests.faults.kills.served LOG BENCH_FILE SPEED SEED

LOG gets lines of JSON: {"t": seconds of the system's monotonic clock, "board": …, "on": [channels]}. It ends when its
standard input does.
"""

from __future__ import annotations

import asyncio
import json
import sys
import time
from pathlib import Path
from typing import Any

import yaml

from simulators.station import start

LOOK_EVERY = 0.002
BOARDS = (1, 4)


def bench_file(addresses: dict[str, Any], speed: float) -> str:
    """The bundled simulated bench, at this station's addresses."""
    source = Path(__file__).parents[3] / "procedures" / "benches" / "simulated.yaml"
    bench = yaml.load(source.read_text(encoding="utf-8"), yaml.BaseLoader)
    del bench["station"]
    bench["speed"] = speed
    bench["simulated"] = True
    for name, link in bench["links"].items():
        host, port = addresses[name]
        link["address"] = f"TCPIP::{host}::{port}::SOCKET" if link["protocol"] == "visa" else f"{host}:{port}"
    for spec in bench["instruments"].values():
        for key in ("device", "channels"):
            if key in spec:
                spec[key] = int(spec[key])
    for section in ("outputs", "inputs", "quantities"):
        for spec in bench[section].values():
            spec["channel"] = int(spec["channel"])
            if "raw" in spec:
                spec["raw"] = [int(r) for r in spec["raw"]]
    for point in bench["test-points"].values():
        point["select"]["channel"] = int(point["select"]["channel"])
    return json.dumps(bench, indent=1)  # JSON is YAML, and quotes what must be words


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
