"""Rules about a bench file alone: its names lead somewhere, its channels exist once, its numbers fit together."""

from __future__ import annotations

from collections.abc import Iterator

from rig.errors import Fault
from rig.judgement.sensors import PLATINUM
from rig.plan import proof_interlocks, proof_links, proof_safety
from rig.plan.channels import QuantitySpec
from rig.plan.load import Loaded
from rig.plan.view import FUNCTION_QUANTITY, BenchView, unknown
from rig.plan.wiring import Bench
from rig.quantities import unit

READ_BACK = "read-back"


def names_exist(view: BenchView) -> Iterator[Fault]:
    """Links, instruments, feedbacks, buses, meters and the outputs of needs-on and all-off-order are in the file."""
    bench = view.bench
    for name, instrument in bench.instruments.items():
        if instrument.link not in bench.links:
            yield view.fault(("instruments", name, "link"), unknown("link", instrument.link, bench.links))
    for _, _, path, instrument_name, _ in view.channels():
        if instrument_name not in bench.instruments:
            message = unknown("instrument", instrument_name, bench.instruments)
            yield view.fault((*path, "instrument"), message)
    for name, output in bench.outputs.items():
        if output.feedback != READ_BACK and output.feedback not in bench.inputs:
            message = unknown("input", output.feedback, [READ_BACK, *bench.inputs])
            yield view.fault(("outputs", name, "feedback"), message)
    for name, point in bench.test_points.items():
        here = ("test-points", name)
        if point.meter not in bench.instruments:
            yield view.fault((*here, "meter"), unknown("instrument", point.meter, bench.instruments))
        if point.bus is not None and point.bus not in bench.outputs:
            yield view.fault((*here, "bus"), unknown("output", point.bus, bench.outputs))
        for index, output_name in enumerate(point.needs_on):
            if output_name not in bench.outputs:
                yield view.fault((*here, "needs-on", index), unknown("output", output_name, bench.outputs))
    for index, output_name in enumerate(bench.all_off_order):
        if output_name not in bench.outputs:
            yield view.fault(("all-off-order", index), unknown("output", output_name, bench.outputs))


def names_mean_one_thing(view: BenchView) -> Iterator[Fault]:
    """A procedure measures at a test point or a quantity by name alone; no name may be both, none twice in a list."""
    for name in view.bench.test_points:
        if name in view.bench.quantities:
            yield view.fault(("test-points", name), f"'{name}' is a quantity too; give one of them another name")
    for index, name in enumerate(view.bench.all_off_order):
        if name in view.bench.all_off_order[:index]:
            yield view.fault(("all-off-order", index), f"'{name}' stands twice in this list")
    for name, spec in view.bench.inputs.items():
        if spec.open == spec.closed:
            yield view.fault(("inputs", name, "closed"), f"open and closed are both '{spec.open}'")
    if READ_BACK in view.bench.inputs:
        yield view.fault(("inputs", READ_BACK), f"'{READ_BACK}' means the board's own word and cannot name an input")


def channels_exist(view: BenchView) -> Iterator[Fault]:
    """A channel lies within those of its instrument; channels count from 0."""
    for _, _, path, name, channel in view.channels():
        instrument = view.bench.instruments.get(name)
        if instrument is not None and instrument.channels is not None and channel >= instrument.channels:
            message = f"{name} has channels 0 to {instrument.channels - 1}, found {channel}"
            yield view.fault((*path, "channel"), message)


def channels_are_used_once(view: BenchView) -> Iterator[Fault]:
    """No coil has two names. Test points may share a selector, on one bus: it is the same two terminals."""
    seen: dict[tuple[str, str, int], tuple[str, str]] = {}
    for section, name, path, instrument, channel in view.channels():
        kind = "coil" if section in ("outputs", "test-points") else section
        first_section, first = seen.setdefault((kind, instrument, channel), (section, name))
        if first == name and first_section == section:
            continue
        points = view.bench.test_points
        if section == first_section == "test-points" and points[first].bus == points[name].bus:
            continue
        yield view.fault((*path, "channel"), f"channel {channel} of {instrument} is wired to '{first}' already")


def buses_carry_nothing(view: BenchView) -> Iterator[Fault]:
    """A bus only leads the meter somewhere: it energizes nothing."""
    for name, point in view.bench.test_points.items():
        output = None if point.bus is None else view.bench.outputs.get(point.bus)
        if output is not None and output.energizes != "nothing":
            message = f"{point.bus} energizes {output.energizes} and cannot lead the meter to a test point"
            yield view.fault(("test-points", name, "bus"), message)


def scales_fit(view: BenchView) -> Iterator[Fault]:
    """A channel's two ends differ, are of the kind it measures; its accuracy is of that kind and above 0, and so are
    its resolution and its drift, which is within ± the accuracy."""
    for name, spec in view.bench.quantities.items():
        yield from _scale(view, name, spec)


def _scale(view: BenchView, name: str, spec: QuantitySpec) -> Iterator[Fault]:
    here = ("quantities", name)
    if spec.raw is not None and spec.raw[0] == spec.raw[1]:
        yield view.fault((*here, "raw"), f"both ends of the raw counts are {spec.raw[0]}")
    wanted = FUNCTION_QUANTITY[spec.measures]
    if spec.sensor is not None:
        wanted = "resistance" if spec.sensor.kind in PLATINUM else "voltage"
    wrong = [(i, m) for i, m in enumerate(spec.means) if unit(m.unit).quantity != wanted]
    for index, found in wrong:
        yield view.fault((*here, "means", index), f"expected a {wanted}, as {name} measures it, found {found}")
    if not wrong and spec.means[0].canonical().value == spec.means[1].canonical().value:
        yield view.fault((*here, "means"), f"both ends mean {spec.means[0]}")
    kind = "temperature difference" if wanted == "temperature" else wanted
    stated = {
        "accuracy": (spec.accuracy, "half width"),
        "resolution": (spec.resolution, "step"),
        "drift": (spec.drift, "drift"),
    }
    for key, (value, what) in stated.items():
        if value is not None and (unit(value.unit).quantity != kind or value.value <= 0):
            yield view.fault((*here, key), f"expected a {what} above 0 as a {kind}, found {value}")
            return
    if spec.drift is not None and spec.drift.canonical().value > 2.0 * spec.accuracy.canonical().value:
        yield view.fault((*here, "drift"), f"an error within ± {spec.accuracy} cannot drift by {spec.drift}")


def sensors_fit(view: BenchView) -> Iterator[Fault]:
    """A thermocouple's cold junction is a temperature of the
    bench that is not a thermocouple's itself, and no person reads it."""
    bench = view.bench
    for name, spec in bench.quantities.items():
        here = ("quantities", name)
        if spec.sensor is None:
            continue
        if bench.by_hand(spec.instrument):
            yield view.fault((*here, "sensor"), "a person reads a temperature, not a sensor's ohms or volts")
        cold = spec.sensor.cold_junction
        if cold is None:
            continue
        found = bench.quantities.get(cold)
        if found is None:
            yield view.fault((*here, "sensor", "cold-junction"), unknown("quantity", cold, bench.quantities))
        elif found.measures != "temperature" or bench.by_hand(found.instrument):
            message = f"expected a temperature that the bench reads, and {cold} is none"
            yield view.fault((*here, "sensor", "cold-junction"), message)
        elif found.sensor is not None and found.sensor.cold_junction is not None:
            message = f"{cold} is a thermocouple's itself; expected a thermometer at the terminals"
            yield view.fault((*here, "sensor", "cold-junction"), message)


def shunts_fit(view: BenchView) -> Iterator[Fault]:
    """A shunt is a resistance with an accuracy, and turns the volts of a meter into amps."""
    for name, point in view.bench.test_points.items():
        here = ("test-points", name)
        if (point.shunt is None) != (point.shunt_accuracy is None):
            yield view.fault(here, "shunt and shunt-accuracy go together")
        if point.shunt is None:
            continue
        if unit(point.shunt.unit).quantity != "resistance" or point.shunt.value <= 0:
            yield view.fault((*here, "shunt"), f"expected a resistance above 0, found {point.shunt}")
        others = [f for f in point.measures if f not in ("DC amps", "AC amps")]
        if others:
            message = f"across a shunt the meter reads amps; it cannot be asked for {others[0]} there"
            yield view.fault((*here, "measures"), message)


def accuracies_fit(view: BenchView) -> Iterator[Fault]:
    """The range of each line of an accuracy statement is of the function's kind and above 0."""
    for name, instrument in view.bench.instruments.items():
        for index, line in enumerate(instrument.accuracy):
            wanted = FUNCTION_QUANTITY[line.function]
            if unit(line.range.unit).quantity != wanted or line.range.value <= 0:
                message = f"expected a {wanted} above 0 as the range for {line.function}, found {line.range}"
                yield view.fault(("instruments", name, "accuracy", index, "range"), message)


def hands_fit(view: BenchView) -> Iterator[Fault]:
    """What a person switches has a caution where it energizes anything; leads put on by hand need no relays; and no
    interlock waits for a person to read something."""
    bench = view.bench
    for name, output in bench.outputs.items():
        if bench.by_hand(output.instrument) and output.energizes != "nothing" and output.caution is None:
            message = f"a person switches this: expected a caution, for it energizes {output.energizes}"
            yield view.fault(("outputs", name), message)
    for name, point in bench.test_points.items():
        if point.meter in bench.instruments and bench.by_hand(point.meter) == (point.bus is not None):
            message = "is a person's: no bus, no select" if point.bus else "is no hand meter: it needs a bus"
            yield view.fault(("test-points", name, "meter"), f"{point.meter} {message}")
    for name, lock in bench.interlocks.items():
        read: list[tuple[tuple[str | int, ...], str]] = [
            (("must", key), getattr(lock.must, key, "")) for key in ("input", "quantity")
        ]
        read += [(("unless", n, "input"), state.input) for n, state in enumerate(lock.unless)]
        for tail, what in read:
            spec = bench.inputs.get(what) or bench.quantities.get(what)
            if spec is not None and bench.by_hand(spec.instrument):
                message = "a person reads this, and an interlock is read again and again; leave it to the wiring"
                yield view.fault(("interlocks", name, *tail), message)


RULES = (
    names_exist,
    names_mean_one_thing,
    channels_exist,
    channels_are_used_once,
    buses_carry_nothing,
    scales_fit,
    sensors_fit,
    shunts_fit,
    accuracies_fit,
    hands_fit,
    *proof_links.RULES,
    *proof_safety.RULES,
    *proof_interlocks.BENCH_RULES,
)


def prove_bench(loaded: Loaded) -> list[Fault]:
    """Every fault of a bench file by itself. Raises TypeError for a file of another kind."""
    if not isinstance(loaded.model, Bench):
        raise TypeError(f"expected a bench, found {loaded.kind}")
    view = BenchView(loaded, loaded.model)
    return [fault for rule in RULES for fault in rule(view)]
