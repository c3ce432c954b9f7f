"""What it costs to start a command, as ratios to an interpreter that does nothing, and what the program uses of one
core. Prints; asserts nothing.

python -m tests.benchmarks.bench_start [ROUNDS]
"""

from __future__ import annotations

import resource
import subprocess
import sys

RIG = "from rig.cli.main import run; run({words!r})"
STARTED = {
    "rig --help": RIG.format(words=["--help"]),
    "rig run --help": RIG.format(words=["run", "--help"]),
    "rig station --list-faults": RIG.format(words=["station", "--list-faults"]),
    "rig check, the largest procedure, every unit": RIG.format(words=["check", "fill-diagnosis"]),
    "rig schema bench": RIG.format(words=["schema", "bench"]),
    "all that a run needs": "import rig.run.session, rig.records.store, rig.cli.live, drivers.multimeter",
}


def seconds(program: str) -> float:
    """Seconds of one core that one interpreter uses: the wall's would be those of whatever else runs."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-c", program], check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    """Interleaved, the least of all rounds on both sides."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    programs = {"an interpreter": "pass", **STARTED}
    least = dict.fromkeys(programs, float("inf"))
    for _ in range(rounds):
        for name, program in programs.items():
            least[name] = min(least[name], seconds(program))
    for name in STARTED:
        ratio = least[name] / least["an interpreter"]
        print(f"{name}: {ratio:.1f} x an interpreter that does nothing, {least[name]:.2f} s")


if __name__ == "__main__":
    main()
