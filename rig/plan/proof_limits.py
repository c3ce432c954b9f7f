"""Rules about limits and the values that edges wait for: of the reading's kind, and where they can be seen."""

from __future__ import annotations

from collections.abc import Iterator

from rig.errors import Fault
from rig.plan.channels import QuantitySpec
from rig.plan.edges import QuantityEdge
from rig.plan.procedure import Ask, Judged, Measure, Record, Time
from rig.plan.values import AnyLimit, LimitRef, PartRef
from rig.plan.view import FUNCTION_QUANTITY, Placed, View, example, unknown
from rig.quantities import Quantity, canonical, unit

# Figures of a trace that are values of its channel, and not times, rates or differences.
OF_THE_CHANNEL = ("highest", "lowest", "last", "mean", "plateau")


def limits_fit(view: View) -> Iterator[Fault]:
    """A limit exists, is of the reading's kind, and lies where the range or the channel can show it."""
    for placed in view.steps:
        step = placed.step
        if isinstance(step, (Judged, Ask)) and step.limit is not None:
            yield from _limit(view, placed, step.limit)


def _limit(view: View, placed: Placed, written: AnyLimit) -> Iterator[Fault]:
    tail: tuple[str, ...] = ("limit",)
    limit, of = written, "the limit"
    if isinstance(limit, PartRef):
        tail, of = ("limit", "reference-part"), f"the bench's reference part '{limit.reference_part}'"
        part = view.bench.reference_parts.get(limit.reference_part)
        if part is None:
            message = unknown(f"reference part of bench {view.bench.bench}", limit.reference_part,
                              view.bench.reference_parts)  # fmt: skip
            yield view.fault(placed, tail, message)
            return
        limit = part
    if isinstance(limit, LimitRef):
        tail, of = ("limit", "profile"), f"the profile's limit '{limit.profile}'"
        if view.profile is None:
            yield view.fault(placed, tail, f"{of} needs a unit profile, and this procedure has none")
            return
        found = view.profile.limits.get(limit.profile)
        if found is None:
            message = unknown(f"limit of profile {view.profile.unit_profile}", limit.profile, view.profile.limits)
            yield view.fault(placed, tail, message)
            return
        limit = found
    reading, kind = view.reading(placed.step), unit(limit.unit).quantity
    if reading is None:
        return  # said by another rule
    if kind != reading:
        message = f"{of} is in {limit.unit} ({kind}), but the reading is a {reading} such as {example(reading)}"
        yield view.fault(placed, tail, message)
        return
    span = _span(view, placed)
    if span is None:
        return
    low, high, what = span
    for end in limit.ends():
        if end is not None and not low <= end <= high:
            shown_end = Quantity(end, canonical(limit.unit))
            yield view.fault(placed, tail, f"{of} reaches {shown_end}, which lies beyond {what}")


def _span(view: View, placed: Placed) -> tuple[float, float, str] | None:
    """What a reading can be at all, in its canonical unit: the meter's range, or the wired channel's ends."""
    step = placed.step
    if isinstance(step, Measure) and step.range is not None:
        if unit(step.range.unit).quantity != FUNCTION_QUANTITY[step.measure] or step.range.value <= 0:
            return None  # said by another rule
        most = step.range.canonical().value
        return -most, most, f"the range {step.range}"
    name = step.at if isinstance(step, Measure) else step.judged if isinstance(step, Record) else ""
    spec = view.bench.quantities.get(name)
    if spec is None or (
        isinstance(step, Record) and step.figure in ("slope", "onset", "overshoot", "leak", "lethality")
    ):
        return None
    return _channel_span(name, spec)


def _channel_span(name: str, spec: QuantitySpec) -> tuple[float, float, str]:
    return *spec.ends(), f"what {name} can show, {spec.span()}"


def edges_fit(view: View) -> Iterator[Fault]:
    """The value that a quantity's edge waits for is of its kind and within what its channel can show."""
    for placed in view.steps:
        if not isinstance(placed.step, Time):
            continue
        for key, edge in (("from", placed.step.time.from_), ("until", placed.step.time.until)):
            spec = view.bench.quantities.get(edge.quantity) if isinstance(edge, QuantityEdge) else None
            if not isinstance(edge, QuantityEdge) or spec is None:
                continue
            word = "reaches" if edge.reaches is not None else "falls-to"
            value = edge.reaches or edge.falls_to
            kind = FUNCTION_QUANTITY[spec.measures]
            if value is None or unit(value.unit).quantity != kind:
                message = f"{edge.quantity} is a {kind}, expected a value such as {example(kind)}, found {value}"
                yield view.fault(placed, ("time", key, word), message)
                continue
            low, high, what = _channel_span(edge.quantity, spec)
            if not low <= value.canonical().value <= high:
                yield view.fault(placed, ("time", key, word), f"{value} lies beyond {what}")


RULES = (limits_fit, edges_fit)
