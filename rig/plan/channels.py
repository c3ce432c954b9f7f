"""What a bench file states of a channel and of an instrument's accuracy: ranges, shares, certificates, sensors."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from rig.judgement.sensors import PLATINUM, Sensor, celsius
from rig.plan.procedure import Function
from rig.plan.values import Age, AnyQuantity, Name, Share, Strict, Temperature, Text
from rig.quantities import convert, unit

Channel = Annotated[int, Field(strict=True, ge=0, le=65535)]


Temperatures = Annotated[tuple[Temperature, ...], Field(min_length=2, max_length=2)]


class CertifiedPoint(Strict):
    """What a calibration certificate says at one reading: what to add to it, and the expanded uncertainty (k = 2)."""

    at: AnyQuantity
    add: AnyQuantity
    uncertainty: AnyQuantity


class CertificateSpec(Strict):
    """The corrections of one function and range, between whose points a straight line is drawn."""

    number: Text
    points: Annotated[tuple[CertifiedPoint, ...], Field(min_length=1, max_length=100)]


class Shares(Strict):
    """What an accuracy statement may say besides: in which ``band`` of temperatures it holds, by which shares
    ``per-kelvin`` it grows beyond, and what a ``certificate`` adds to a reading."""

    band: Temperatures | None = None
    of_reading_per_kelvin: Share | None = None
    of_range_per_kelvin: Share | None = None
    certificate: CertificateSpec | None = None

    @model_validator(mode="after")
    def _per_kelvin_of_a_band(self) -> Self:
        if (self.of_reading_per_kelvin or self.of_range_per_kelvin) and self.band is None:
            raise ValueError("a share per kelvin needs a band: the temperatures between which it is not added")
        return self

    def _certified_in(self, at: str, difference: str) -> None:
        """Raises ValueError for a certificate whose points are not in these units, or less than certain."""
        for point in self.certificate.points if self.certificate is not None else ():
            for value, code in ((point.at, at), (point.add, difference), (point.uncertainty, difference)):
                convert(value.value, value.unit, code)
            if point.uncertainty.value < 0:
                raise ValueError(f"the uncertainty of a certificate is not negative, found {point.uncertainty}")


class Accuracy(Shares):
    """One line of an accuracy statement: share of the reading plus share of the range plus counts of the resolution,
    together a limit of error. It holds ``within`` a time after calibration, and in a ``band`` of temperatures; beyond
    the band the shares ``per-kelvin`` are added."""

    function: Function
    range: AnyQuantity
    of_reading: Share
    of_range: Share
    counts: Annotated[int, Field(strict=True, ge=0, le=1000)] = 0
    resolution: AnyQuantity | None = None
    within: Age | None = None

    @model_validator(mode="after")
    def _whole(self) -> Accuracy:
        if self.resolution is not None:
            convert(self.resolution.value, self.resolution.unit, self.range.unit)
        self._certified_in(self.range.unit, self.range.unit)
        if self.counts and self.resolution is None:
            raise ValueError("counts need a resolution: what one count is")
        return self


RawCount = Annotated[int, Field(strict=True, ge=-32768, le=65535)]


class SensorSpec(Strict):
    """A temperature sensor behind a channel that reads its ohms or volts; ``cold-junction`` is the quantity that is the
    temperature of a thermocouple's terminals. Its own limit of error is that of a ``class`` (IEC 60751, platinum), or
    a ``tolerance``."""

    kind: Sensor
    cold_junction: Name | None = None
    class_: Literal["AA", "A", "B", "C"] | None = None
    tolerance: AnyQuantity | None = None

    @model_validator(mode="after")
    def _whole(self) -> SensorSpec:
        if (self.cold_junction is None) != (self.kind in PLATINUM):
            raise ValueError("a thermocouple needs a cold-junction: the quantity that is its terminals' temperature; "
                             "a platinum thermometer has none")  # fmt: skip
        if (self.class_ is None) == (self.tolerance is None) or (self.class_ and self.kind not in PLATINUM):
            raise ValueError("expected class: AA, A, B or C (platinum), or tolerance: the limit of error in K")
        if self.tolerance is not None and (unit(self.tolerance.unit).dimension != unit("K").dimension
                                           or self.tolerance.unit == "Cel" or self.tolerance.value <= 0):  # fmt: skip
            raise ValueError(f"expected a tolerance above 0 in K, found {self.tolerance}")
        return self


class QuantitySpec(Shares):
    """An analog channel: raw counts and what they mean. Without ``raw`` the instrument gives the quantity itself, and
    ``means`` are the ends of what it can show. With a ``sensor`` both ends, and the accuracy, are its ohms or volts.

    ``accuracy`` is the limit of error of any reading, to which a share of the reading and a share of the far end may be
    added, and beyond a ``band`` of temperatures the shares ``per-kelvin``; ``drift`` is the furthest that the error
    goes from one reading to another while a run lasts (JCGM 200:2012, 4.21), so that a difference is better than what
    it is taken from. Readings are corrected by a ``certificate``."""

    instrument: Name
    channel: Channel
    measures: Function
    raw: Annotated[tuple[RawCount, ...], Field(min_length=2, max_length=2)] | None = None
    means: tuple[AnyQuantity, ...] = Field(min_length=2, max_length=2)
    accuracy: AnyQuantity  # half width, taken as rectangular
    drift: AnyQuantity | None = None
    resolution: AnyQuantity | None = None  # of an instrument that gives the quantity itself; else one count
    of_reading: Share | None = None
    of_range: Share | None = None
    sensor: SensorSpec | None = None
    for_: Text

    @model_validator(mode="after")
    def _sensor_reads_it(self) -> QuantitySpec:
        if self.resolution is not None and self.raw is not None:
            raise ValueError("raw says already what one count is; no resolution besides")
        more = (self.of_reading, self.of_range, self.band, self.certificate)
        if self.sensor is not None and any(each is not None for each in more):
            raise ValueError(
                "with a sensor: accuracy, drift, and the sensor's own class or tolerance; no shares besides"
            )
        here = self.means[0].unit
        self._certified_in(here, "K" if here == "Cel" else here)
        if self.sensor is None:
            return self
        if self.measures != "temperature":
            raise ValueError(f"a {self.sensor.kind} measures a temperature; expected measures: temperature")
        wanted = "Ohm" if self.sensor.kind in PLATINUM else "V"
        for value in (*self.means, self.accuracy, *(() if self.drift is None else (self.drift,))):
            if unit(value.unit).dimension != unit(wanted).dimension:
                raise ValueError(f"a {self.sensor.kind} is read in {wanted}; found {value}")
        self.ends()
        return self

    @property
    def unit(self) -> str:
        """The canonical unit of the quantity."""
        return self.means[0].canonical().unit if self.sensor is None else "Cel"

    def electrical(self, raw: float) -> float:
        """What raw counts mean, on the straight line through both ends; a value without counts is what it is."""
        low, high = (m.canonical().value for m in self.means)
        return raw if self.raw is None else low + (raw - self.raw[0]) * (high - low) / (self.raw[1] - self.raw[0])

    def ends(self) -> tuple[float, float]:
        """The lowest and the highest that it can show, in its unit; a thermocouple's with its terminals at 20 Cel.
        Raises ValueError where no such sensor reads that."""
        found = [m.canonical().value for m in self.means]
        if self.sensor is not None:
            found = [celsius(self.sensor.kind, value, 20.0) for value in found]
        low, high = sorted(found)
        return low, high

    def span(self) -> str:
        """What it can show, for people."""
        if self.sensor is None:
            return f"{self.means[0]} to {self.means[1]}"
        low, high = self.ends()
        return f"{low:.4g} Cel to {high:.4g} Cel"
