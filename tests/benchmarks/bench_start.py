"""What it costs to start a command, as ratios to an interpreter that does nothing. Prints; asserts nothing.

python -m tests.benchmarks.bench_start [ROUNDS]
"""

from __future__ import annotations

import subprocess
import sys
import time

RIG = "from rig.cli.main import run; run({words!r})"
STARTED = {
    "rig --help": RIG.format(words=["--help"]),
    "rig run --help": RIG.format(words=["run", "--help"]),
    "rig station --list-faults": RIG.format(words=["station", "--list-faults"]),
    "rig schema bench": RIG.format(words=["schema", "bench"]),
    "all that a run needs": "import rig.run.session, rig.records.store, rig.cli.live, drivers.multimeter",
}


def seconds(program: str) -> float:
    """Wall seconds of one interpreter."""
    began = time.perf_counter()
    subprocess.run([sys.executable, "-c", program], check=True, capture_output=True)
    return time.perf_counter() - began


def main() -> None:
    """Interleaved, the least of all rounds on both sides."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    programs = {"an interpreter": "pass", **STARTED}
    least = dict.fromkeys(programs, float("inf"))
    for _ in range(rounds):
        for name, program in programs.items():
            least[name] = min(least[name], seconds(program))
    for name in STARTED:
        print(f"{name}: {least[name] / least['an interpreter']:.1f} x an interpreter that does nothing")


if __name__ == "__main__":
    main()
