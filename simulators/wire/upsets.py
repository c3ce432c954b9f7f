"""What a device does wrong by itself: an *upset* sits between its table and the plant and may lie about both."""

from collections.abc import Sequence
from typing import Protocol


class Upset:
    """What a device does wrong by itself. Every method is honest until a subclass lies."""

    def written(self, channel: int, on: bool) -> tuple[int, bool] | None:
        """Where a write to a coil really goes; None: nowhere."""
        return channel, on

    def shown(self, values: dict[int, int]) -> dict[int, int]:
        """What the table shows instead of what is true: bits as 0 and 1, or registers, by the addresses asked."""
        return values


class Upsettable(Protocol):
    """A device that can be upset."""

    upsets: list[Upset]

    def power_cycle(self) -> None:
        """It loses its power and comes back as it is delivered."""


def shown_by(upsets: Sequence[Upset], addresses: range, values: Sequence[int]) -> Sequence[int]:
    """What is shown at these addresses when all upsets have had their way with the true values."""
    if not upsets:
        return values
    table = dict(zip(addresses, values, strict=True))
    for upset in upsets:
        table = upset.shown(table)
    return [table[address] for address in addresses]
