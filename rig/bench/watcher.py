"""The first process's side of the second one: start it, beat for it, order it to drop, and let it go."""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rig.bench.watchman import OFF_SWITCHES
from rig.errors import OutputError, RigError, Stopped
from rig.plan.wiring import Bench, Link

STALL = 3.0  # s without a beat until the second process drops the outputs: longer than a journal on a slow disk takes
STALL_OWN = 60.0  # s on a bench that is simulated in this process: no harm comes of it while the machine is busy

BEAT_EVERY = 0.1  # s of wall time between two beats at the most
PULSE_EVERY = 1.0  # s of wall time between two turns of the loop that beat by themselves
LOOK_EVERY = 0.5  # s of wall time between two looks whether it is stopped
ARMED_WITHIN = 60.0  # s to start a Python and load a Modbus library on a busy machine
DROPPED_WITHIN = 10.0


class Watcher:
    """The second process of a run. ``lost`` is called once if it goes away while it is needed."""

    def __init__(self, process: subprocess.Popen[bytes], wiring: Bench) -> None:
        assert process.stdin is not None and process.stdout is not None
        self._process, self._wiring = process, wiring
        self._in, self._out = process.stdin, process.stdout
        os.set_blocking(self._in.fileno(), False)  # a second process that reads no more must not hold up the first
        os.set_blocking(self._out.fileno(), False)
        self._beaten_at = self._looked_at = 0.0
        self._armed = self._over = self._ended = self._own = False
        self._pulse: asyncio.Task[None] | None = None
        self.lost: Callable[[RigError], None] = lambda error: None
        self.waited = 0.0  # wall seconds that a run stood waiting for it to be armed

    @classmethod
    def start(cls, wiring: Bench) -> Watcher:
        """Start it; it loads what it needs while the bench is being opened. Raises OutputError."""
        try:
            process = subprocess.Popen(
                [sys.executable, "-m", "rig.bench.watchman"],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, start_new_session=True,
            )  # fmt: skip
        except OSError as error:
            raise OutputError(f"the second process cannot be started ({error})", "", "second process") from error
        watcher = cls(process, wiring)
        watcher._order({"load": sorted({wiring.instruments[n].driver for n in board_names(wiring)})})
        return watcher

    async def arm(
        self, links: Mapping[str, Link], own: bool, report: Path | None, latches: Sequence[Path] = ()
    ) -> None:
        """Arm it: from now on a beat must come every STALL seconds. It latches the bench at ``latches`` when it must
        give up. Raises OutputError: without it nothing may be energized."""
        boards = boards_of(self._wiring, links)
        self._own = own
        order = {
            "parent": os.getpid(),
            "stall": STALL_OWN if own else STALL,
            "report": None if report is None else str(report),
            "kill": not own and any(b["protocol"] != "modbus-tcp" for b in boards),
            "own": own,
            "bench": self._wiring.bench,
            "latches": [str(path) for path in latches],
        }
        began = time.monotonic()
        self._order({"arm": {**order, "boards": boards}})
        reply = await self._reply(ARMED_WITHIN)
        self.waited = time.monotonic() - began
        missing = {b["driver"] for b in boards} - set((reply or {}).get("armed", []))
        if reply is None or missing:
            self.kill()
            what = f"no off switch for {', '.join(sorted(missing))}" if reply is not None else "it did not start"
            raise OutputError(
                f"the second process cannot guard this bench: {what}",
                f"A driver of relay boards also needs an entry point in {OFF_SWITCHES}.",
                "second process",
            )
        self._armed = True
        if own:
            self._pulse = asyncio.ensure_future(self._beat_on())

    async def _beat_on(self) -> None:
        """On a bench that is simulated in this process the clock stands still while a dead peer is waited for, and with
        it whoever beats else: there the turning loop is sign of life enough."""
        while not self._over:
            self.beat()
            await asyncio.sleep(PULSE_EVERY)

    def beat(self) -> None:
        """The control loop is alive. Called often; writes at most every BEAT_EVERY."""
        now = time.monotonic()
        if self._over or not self._armed or now - self._beaten_at < BEAT_EVERY:
            return
        self._beaten_at = now
        if self._process.poll() is not None or not self._order({"beat": 1}):
            self._give_up("is gone")
        elif now - self._looked_at > LOOK_EVERY:
            self._looked_at = now
            if _stands_still(self._process.pid):
                self._give_up("stands still")

    def _give_up(self, what: str) -> None:
        self.kill()
        self.lost(Stopped(f"the second process {what}", "Start the run again.", "second process"))

    async def drop(self) -> tuple[str, ...] | None:
        """Have the second process drop all boards its own way; what it could not confirm, None if it is gone itself."""
        if self._over or not self._armed or not self._order({"drop": 1}):
            return None
        reply = await self._reply(DROPPED_WITHIN)
        return None if reply is None else tuple(reply["problems"])

    async def finish(self, confirmed: bool) -> None:
        """Let it go. Without everything confirmed off it takes over, and goes on after this process has ended; not on a
        bench that is simulated in this process, which is gone with the run: its addresses may soon be another's."""
        if self._ended:
            return
        self._over = True
        self._still()
        over = confirmed or not self._armed or self._own
        if over:
            self._order({"done": 1})
        self._in.close()
        if over:
            deadline = time.monotonic() + DROPPED_WITHIN
            while self._process.poll() is None and time.monotonic() < deadline:
                await asyncio.sleep(0.002)
        self._let_go()

    def kill(self) -> None:
        """End it at once."""
        self._over = self._ended = True
        self._still()
        self._process.kill()
        self._process.wait()
        self._in.close()
        self._out.close()

    def _still(self) -> None:
        if self._pulse is not None:
            self._pulse.cancel()

    def _let_go(self) -> None:
        self._out.close()
        if self._process.poll() is None:
            _LEFT.append(self._process)  # it works on; this process need not wait for it

    def _order(self, order: dict[str, Any]) -> bool:
        try:
            os.write(self._in.fileno(), json.dumps(order).encode() + b"\n")
        except BlockingIOError:
            return True  # it is slow, not gone: there are beats enough in the pipe
        except (OSError, ValueError):
            return False
        return True

    async def _reply(self, patience: float) -> dict[str, Any] | None:
        loop = asyncio.get_running_loop()
        readable = asyncio.Event()
        loop.add_reader(self._out.fileno(), readable.set)
        line = b""
        try:
            async with asyncio.timeout(patience):
                while not line.endswith(b"\n"):
                    await readable.wait()
                    readable.clear()
                    chunk = self._out.read()
                    if chunk == b"":
                        return None
                    line += chunk or b""
        except TimeoutError:
            return None
        finally:
            loop.remove_reader(self._out.fileno())
        reply: dict[str, Any] = json.loads(line)
        return reply


_LEFT: list[subprocess.Popen[bytes]] = []


def _stands_still(process: int) -> bool:
    """Whether a process is stopped, from the state that the kernel gives (proc(5)); unknown where there is none."""
    path = Path(f"/proc/{process}/stat")
    try:
        return path.read_text(encoding="ascii", errors="replace").rpartition(")")[2].split()[0] in ("T", "t")
    except (OSError, IndexError):
        return False


def board_names(wiring: Bench) -> list[str]:
    """The relay boards of a bench: whatever an output or a selector is on, and no person is."""
    outputs = {o.instrument for o in wiring.outputs.values()}
    selectors = {t.select.instrument for t in wiring.test_points.values() if t.select is not None}
    return sorted(name for name in outputs | selectors if not wiring.by_hand(name))


def boards_of(wiring: Bench, links: Mapping[str, Link]) -> list[dict[str, Any]]:
    """Every relay board of a bench, as the second process is told of it."""
    boards = []
    for name in board_names(wiring):
        spec = wiring.instruments[name]
        link = links[spec.link]
        boards.append(
            {
                "name": name,
                "driver": spec.driver,
                "protocol": link.protocol,
                "address": link.address,
                "device": spec.device,
                "channels": spec.channels,
                **asdict(link.serial()),
            }
        )
    return boards
