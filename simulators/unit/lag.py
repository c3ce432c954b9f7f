"""First-order followers: sensors, bellows, windings."""

from math import exp


class Lag:
    """Follows a target with the time constant `seconds`, exactly for a target that stands still in a step."""

    def __init__(self, seconds: float, value: float) -> None:
        self.seconds = seconds
        self.value = value
        self._keep: dict[float, float] = {}

    def step(self, dt: float, target: float) -> None:
        """Move towards `target` for `dt` s."""
        keep = self._keep.get(dt)
        if keep is None:
            keep = self._keep[dt] = exp(-dt / self.seconds)
        self.value = target + (self.value - target) * keep
