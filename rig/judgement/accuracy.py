"""From an instrument's accuracy statement to the lines of a budget.

A statement is a limit of error: a share of the reading, a share of the range, counts of the display, and what the
temperature adds, of which only the sum is promised. It is taken as rectangular (GUM 4.3.7, F.2.3.2) with the sum as
half width. The shares are lines of their own all the same: met twice (the same instrument, function and range in one
formula) each adds with its sign, so that a common zero drops out of a difference and a common gain out of a ratio.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rig.uncertainty import Line, line, rectangular, resolution


@dataclass(frozen=True)
class Term:
    """One term of a statement: ``of_reading`` (a share) and ``fixed`` (half width, in the reading's unit). One that
    ``drifts`` is another one in each reading; the others stay what they are while a run lasts."""

    name: str
    of_reading: float
    fixed: float
    basis: str
    drifts: bool = False

    def half_width(self, value: float) -> float:
        """The limit of error at ``value``."""
        return self.of_reading * abs(value) + self.fixed


@dataclass(frozen=True)
class Point:
    """A point of a calibration certificate: at a reading of ``at``, ``add`` gives the true value, known within the
    expanded uncertainty ``expanded`` (k = 2)."""

    at: float
    add: float
    expanded: float


@dataclass(frozen=True)
class Certificate:
    """The points of a certificate in ascending order, and its number."""

    number: str
    points: tuple[Point, ...]

    def correction(self, value: float) -> tuple[float, float]:
        """What to add to a reading of ``value``, and its standard uncertainty: on the straight line between the two
        nearest points, and that of the nearest one beyond the ends."""
        before = [p for p in self.points if p.at <= value]
        after = [p for p in self.points if p.at >= value]
        low, high = before[-1] if before else after[0], after[0] if after else before[-1]
        share = 0.0 if high.at == low.at else (value - low.at) / (high.at - low.at)
        return low.add + share * (high.add - low.add), max(low.expanded, high.expanded) / 2.0


@dataclass(frozen=True)
class Statement:
    """What an instrument promises for one function and range; ``source`` names them, ``step`` is the resolution. With a
    ``certificate`` its readings are corrected first, and what is promised is how little it has drifted since."""

    source: str
    terms: tuple[Term, ...]
    step: float = 0.0
    certificate: Certificate | None = None

    def half_width(self, value: float) -> float:
        """The limit of error at ``value``, in its unit."""
        return sum(term.half_width(value) for term in self.terms)

    @property
    def drift(self) -> float | None:
        """The furthest that the error goes between two readings of one run; None where that is not stated."""
        return 2.0 * sum(term.fixed for term in self.terms if term.drifts) or None

    def slope_line(self, seconds: float) -> Line:
        """What is left of the error in the slope of a straight line of least squares through readings over ``seconds``.

        Where the drift is stated, the slope of any error that keeps within it: at most 3/2 of it over the time, which
        a step in the middle of the record reaches. Else the whole limit of error at both ends, taken as independent."""
        if self.drift is not None:
            return line("drift", 1.5 * self.drift / seconds, f"{self.source}: its furthest drift, at its worst moment")
        error = line("accuracy", self.half_width(0.0), "the sensor's error at both ends of the record")
        return error.scaled(math.sqrt(2.0) / seconds)

    def lines(self, value: float) -> tuple[Line, ...]:
        """The lines of one reading of ``value``, and one for the resolution where it is stated."""
        found = []
        for term in self.terms:
            origin = f"{self.source}: {term.name}"
            if term.of_reading:
                u = rectangular(term.of_reading)
                found.append(Line(term.name, u, term.basis, sensitivity=value, origin=origin, statement=self.source))
            if term.fixed:
                u = rectangular(term.fixed)
                origin = "" if term.drifts else f"{origin}, fixed"
                found.append(Line(term.name, u, term.basis, origin=origin, statement=self.source))
        if self.certificate is not None:
            name = f"certificate {self.certificate.number}"
            _, u = self.certificate.correction(value)
            found.append(Line(name, u, "its expanded uncertainty, k = 2", "normal", origin=f"{self.source}: {name}"))
        if self.step > 0:
            found.append(Line("resolution", resolution(self.step), f"counts in {self.step:.6g}"))
        return tuple(found)


def beyond(room: tuple[float, float], band: tuple[float, float]) -> float:
    """By how many K the room's temperatures (lowest, highest, in Cel) reach beyond a statement's band."""
    return max(0.0, band[0] - room[0], room[1] - band[1])
