"""A fault that comes and goes: a loose joint, a sticking part. Written `NAME~` where faults are named."""

from dataclasses import dataclass, field
from random import Random

MARK = "~"
DUTY, PERIOD = 0.5, 20.0  # part of the time that it is there; s from one time to the next, in the mean
TICKS = 50  # a second


@dataclass
class Loose:
    """Stays and goes for times drawn from an exponential distribution, on the plant's grid."""

    name: str
    severity: float
    duty: float
    period: float
    stream: Random
    present: bool = False
    due: int = field(default=0)  # tick of the next change

    def __post_init__(self) -> None:
        if not 0.0 < self.duty < 1.0:
            raise ValueError(f"the duty of {self.name} is {self.duty}; it lies between 0 and 1")
        if not 0.1 <= self.period <= 3600.0:
            raise ValueError(f"the period of {self.name} is {self.period} s; it lies between 0.1 and 3600")

    def begin(self, tick: int) -> None:
        """From `tick` on; it is not there yet."""
        self.due = tick + self._ticks(1.0 - self.duty)

    def change(self) -> float:
        """Comes or goes now. Returns the severity from now on."""
        self.present = not self.present
        self.due += self._ticks(self.duty if self.present else 1.0 - self.duty)
        return self.severity if self.present else 0.0

    def _ticks(self, part: float) -> int:
        return max(1, round(TICKS * self.stream.expovariate(1.0 / (part * self.period))))
