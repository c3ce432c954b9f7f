"""Rules about the safety part of a bench file: an interlock that names what is not there would guard nothing."""

from __future__ import annotations

from collections.abc import Iterator

from rig.errors import Fault
from rig.plan.energy import OHMS
from rig.plan.safety import InputHolds, Interlock, OutputHolds, QuantityHolds, QuantityRises, StepConfirmed
from rig.plan.view import FUNCTION_QUANTITY, BenchView, View, example, turned_on, unknown
from rig.quantities import Quantity, unit


def interlocks_are_whole(view: BenchView) -> Iterator[Fault]:
    """An interlock is for outputs of the bench, and its condition can be read there and can hold."""
    for name, lock in view.bench.interlocks.items():
        here = ("interlocks", name)
        for index, output in enumerate(lock.for_):
            if output not in view.bench.outputs:
                yield view.fault((*here, "for", index), unknown("output", output, view.bench.outputs))
        yield from _condition(view, (*here, "must"), lock)
        for index, state in enumerate(lock.unless):
            yield from _input(view, (*here, "unless", index), state)
        yield from _one_module(view, here, lock)


def _input(view: BenchView, here: tuple[str | int, ...], must: InputHolds) -> Iterator[Fault]:
    spec = view.bench.inputs.get(must.input)
    if spec is None:
        yield view.fault((*here, "input"), unknown("input", must.input, view.bench.inputs))
    elif must.is_ not in (spec.open, spec.closed):
        message = f"{must.input} is {spec.open} or {spec.closed}, found '{must.is_}'"
        yield view.fault((*here, "is"), message)


def _one_module(view: BenchView, here: tuple[str | int, ...], lock: Interlock) -> Iterator[Fault]:
    """What lifts a condition is read in one exchange with it, so that neither is older than the other."""
    inputs = view.bench.inputs
    first = lock.must.input if isinstance(lock.must, InputHolds) else lock.unless[0].input if lock.unless else ""
    for index, state in enumerate(lock.unless):
        if first in inputs and state.input in inputs and inputs[state.input].instrument != inputs[first].instrument:
            message = f"{first} and {state.input} are on two modules; expected both on one, read at one time"
            yield view.fault((*here, "unless", index, "input"), message)


def _condition(view: BenchView, here: tuple[str, ...], lock: Interlock) -> Iterator[Fault]:
    must, bench = lock.must, view.bench
    if isinstance(must, InputHolds):
        yield from _input(view, here, must)
    elif isinstance(must, OutputHolds):
        if must.output not in bench.outputs:
            yield view.fault((*here, "output"), unknown("output", must.output, bench.outputs))
        elif must.output in lock.for_:
            yield view.fault((*here, "output"), f"{must.output} cannot depend on itself")
    elif isinstance(must, (QuantityHolds, QuantityRises)):
        yield from _quantity(view, here, must)


def _quantity(view: BenchView, here: tuple[str, ...], must: QuantityHolds | QuantityRises) -> Iterator[Fault]:
    spec = view.bench.quantities.get(must.quantity)
    if spec is None:
        yield view.fault((*here, "quantity"), unknown("quantity", must.quantity, view.bench.quantities))
        return
    kind = FUNCTION_QUANTITY[spec.measures]
    points: dict[str, Quantity | None]
    if isinstance(must, QuantityHolds):
        points = {"at-least": must.at_least, "at-most": must.at_most}
    else:
        points = {"until": must.until}
        rise = "temperature difference" if kind == "temperature" else kind
        if unit(must.rises.unit).quantity != rise or must.rises.value <= 0:
            message = f"expected a rise above 0, a {rise} such as {example(rise)}, found {must.rises}"
            yield view.fault((*here, "rises"), message)
    low, high = spec.ends()
    for key, value in points.items():
        if value is None:
            continue
        if unit(value.unit).quantity != kind:
            message = f"{must.quantity} is a {kind}, expected a value such as {example(kind)}, found {value}"
            yield view.fault((*here, key), message)
        elif not low <= value.canonical().value <= high:
            what = f"what {must.quantity} can show, {spec.span()}"
            yield view.fault((*here, key), f"{value} lies beyond {what}")


def circuits_are_whole(view: BenchView) -> Iterator[Fault]:
    """A circuit is proved dead at a test point that measures the voltage, on a range that reaches the limit; and every
    circuit on which ohms are measured says how."""
    bench = view.bench
    for name, circuit in bench.circuits.items():
        here = ("circuits", name)
        if circuit.test_point is None or circuit.range is None or circuit.below is None:
            continue  # never live
        point = bench.test_points.get(circuit.test_point)
        if point is None:
            yield view.fault((*here, "test-point"), unknown("test point", circuit.test_point, bench.test_points))
            continue
        for function in circuit.functions:
            if function not in point.measures:
                message = f"{circuit.test_point} measures {', '.join(point.measures)}, not {function}"
                yield view.fault((*here, "measure"), message)
        for key, value in (("range", circuit.range), ("below", circuit.below)):
            if unit(value.unit).quantity != "voltage" or value.value <= 0:
                yield view.fault((*here, key), f"expected a voltage above 0, found {value}")
                return
        if circuit.below.si > circuit.range.si:
            yield view.fault((*here, "below"), f"{circuit.below} lies beyond the range {circuit.range}")
    for name, point in bench.test_points.items():
        if {*OHMS} & {*point.measures} and point.on not in bench.circuits:
            yield view.fault(("test-points", name, "on"), unknown("circuit", point.on, bench.circuits))


def confirmed_steps_precede(view: View) -> Iterator[Fault]:
    """What an interlock wants confirmed is a step of this procedure, before the output is turned on."""
    locks = view.bench.interlocks.values()
    wanted = [(lock.for_, lock.must.confirmed) for lock in locks if isinstance(lock.must, StepConfirmed)]
    for placed in view.steps:
        for on in turned_on(placed.step, view.bench):
            for outputs, name in wanted:
                if on.output in outputs and not view.precedes(name, placed):
                    message = f"{on.output} may go on only when '{name}' has passed, and no earlier step is called so"
                    yield view.fault(placed, on.tail, message)


RULES = (confirmed_steps_precede,)
BENCH_RULES = (interlocks_are_whole, circuits_are_whole)
