"""What a person with an instrument of their own is asked: readings, times, switches; and which steps are so."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from rig.errors import Fault, InputError
from rig.events import Prompted
from rig.plan.edges import InputEdge, OutputEdge, QuantityEdge, StartByPerson
from rig.plan.energy import OHMS
from rig.plan.messages import listed, nearest
from rig.plan.plan import Plan, each_step
from rig.plan.procedure import CONTACT_FIGURES, Measure, Record, Time, Waveform
from rig.plan.view import FUNCTION_QUANTITY, figure_quantity, turned_on, waveform_quantity
from rig.plan.wiring import Bench
from rig.quantities import UNITS
from rig.run.people import prompt_of

ByHandStep = Measure | Record | Time | Waveform


def reading_prompt(plan: Plan, step: Measure | Record | Waveform, at: float) -> Prompted:
    """The question for one number."""
    thing, options = "", ("",)
    if isinstance(step, Measure):
        on = "" if step.range is None else f", on a range that takes {step.range}"
        question = f"Measure {step.measure} at {_place(plan, step.at)}{on}. What does your instrument read?"
        thing, options = step.at, (step.measure,)
    elif isinstance(step, Record):
        thing, options = step.judged, (step.figure,)
        question = f"Watch {_place(plan, thing)}. What was the {step.figure}?"
    else:
        thing, options = step.waveform, (step.judge,)
        question = f"Record {_place(plan, thing)} with your own instrument. What was its {step.judge}?"
    caution = step.caution or ""
    return Prompted(at, step.step, "measure", thing, question, caution, "reading", asked_in(plan, step), options)


def rates(step: ByHandStep) -> bool:
    """Whether this is a slope that two readings and a known time give."""
    return isinstance(step, Record) and step.figure == "slope" and step.for_ is not None


def rate_prompts(plan: Plan, step: Record, at: float) -> tuple[Prompted, Prompted]:
    """The questions for a rate: what stands there before, and after."""
    spec, name = plan.bench.quantities[step.judged], step.judged
    seconds = 0.0 if step.for_ is None else plan.seconds(step.for_)
    code, caution = spec.unit, step.caution or ""

    def ask(when: str) -> Prompted:
        question = f"What does {_place(plan, name)} read {when} the {seconds:g} s?"
        return Prompted(
            at, f"{step.step}-{when}", "measure", name, question, caution, "reading", code, (spec.measures,)
        )

    return ask("before"), ask("after")


def stop_watch_prompts(plan: Plan, step: Time, at: float) -> tuple[Prompted, Prompted]:
    """To get ready with a stop-watch, and to read it."""
    begins, ends = step.time.from_, step.time.until
    waits = (step.time.start_within.to("s"), plan.seconds(step.time.give_up))
    options = (edge_code(plan, begins), edge_code(plan, ends), *(f"{seconds:g}" for seconds in waits))
    between = f"from {edge_words(plan, begins)} to {edge_words(plan, ends)}"
    ready = f"Take a stop-watch. It runs {between}. Ready?"
    last = f"What does the stop-watch read, {between}? After {waits[1]:g} s say 'more than {waits[1]:g} s with …'."
    caution = step.caution or ""
    return (
        Prompted(at, f"{step.step}-ready", "confirm", "stop-watch", ready, caution, "done", "", options),
        Prompted(at, step.step, "measure", "stop-watch", last, caution, "stop-watch", asked_in(plan, step), options),
    )


def start_prompt(step: Time, at: float) -> Prompted:
    """What starts a timing by hand."""
    assert isinstance(step.start, StartByPerson)
    return prompt_of(f"{step.step}-start", step.start, step.caution or "", at)


def volts_prompt(plan: Plan, point: str, function: str, at: float) -> Prompted:
    """The question that proves a circuit dead."""
    question = f"Prove it dead: {function} at {_place(plan, point)}. What does your instrument read?"
    caution = "It may be live until this reading has shown otherwise."
    return Prompted(at, f"dead-{point}", "measure", point, question, caution, "reading", "V", (function,))


def switch_prompt(bench: Bench, output: str, on: bool, at: float) -> Prompted:
    """The order to switch one output, or everything off."""
    if not output:
        names = [n for n, o in bench.outputs.items() if bench.by_hand(o.instrument)]
        first = [n for n in bench.all_off_order if n in names]
        question = f"Switch everything off: {', '.join(dict.fromkeys([*first, *names]))}. Is all of it off?"
        return Prompted(at, "all-off", "press", "all-off", question, "", "done", "")
    spec, state = bench.outputs[output], "on" if on else "off"
    question = f"Switch {state}: {output} ({spec.for_}). Done?"
    caution = (spec.caution or "") if on else ""
    return Prompted(at, f"switch-{output}", "press", f"switch-{output}-{state}", question, caution, "done", "")


def only_by_hand(bench: Bench, step: ByHandStep) -> bool:
    """Whether what a step reads has no other instrument than a person's."""
    if isinstance(step, Time):
        edges = (step.time.from_, step.time.until)
        return any(bench.by_hand(_instrument_of(bench, edge)) for edge in edges)
    places = step.record if isinstance(step, Record) else (step.at if isinstance(step, Measure) else step.waveform,)
    for name in places:
        point, channel = bench.test_points.get(name), bench.quantities.get(name) or bench.inputs.get(name)
        instrument = point.meter if point is not None else channel.instrument if channel is not None else ""
        if bench.by_hand(instrument):
            return True
    return False


def _instrument_of(bench: Bench, edge: InputEdge | OutputEdge | QuantityEdge) -> str:
    if isinstance(edge, InputEdge):
        return bench.inputs[edge.input].instrument
    if isinstance(edge, OutputEdge):
        return bench.outputs[edge.output].instrument
    return bench.quantities[edge.quantity].instrument


def steps_by_hand(plan: Plan, names: Collection[str]) -> frozenset[str]:
    """The steps whose reading a person takes: ``names``, and those that have no other instrument."""
    return frozenset(names) | {step.step for step in _steps(plan) if only_by_hand(plan.bench, step)}


def prompts_by_hand(plan: Plan, names: Collection[str]) -> Iterable[Prompted]:
    """Every prompt that the steps by hand make, by the name under which an answer is prepared."""
    yield from _switch_prompts(plan)
    for step in _steps(plan):
        if step.step not in names and (isinstance(step, Waveform) or (isinstance(step, Record) and not rates(step))):
            continue  # nobody can do that by hand
        if not (step.step in names or only_by_hand(plan.bench, step)):
            continue
        if isinstance(step, Time):
            yield from stop_watch_prompts(plan, step, 0.0)
            if isinstance(step.start, StartByPerson):
                yield start_prompt(step, 0.0)
        elif isinstance(step, Record) and rates(step):
            yield from rate_prompts(plan, step, 0.0)
        else:
            yield reading_prompt(plan, step, 0.0)


def _switch_prompts(plan: Plan) -> Iterable[Prompted]:
    """The switches that a person may be asked for, and the proofs that a circuit is dead."""
    bench = plan.bench
    by_hand = {n: o for n, o in bench.outputs.items() if bench.by_hand(o.instrument)}
    steps = [s for stage in plan.procedure.stages for s in each_step(stage.all_steps())]
    for name in dict.fromkeys(on.output for step in steps for on in turned_on(step, bench) if on.output in by_hand):
        yield switch_prompt(bench, name, True, 0.0)
    if by_hand:
        yield switch_prompt(bench, "", False, 0.0)
    measured = [s for s in steps if isinstance(s, Measure) and s.measure in OHMS and s.at in bench.test_points]
    circuits = [bench.circuits.get(bench.test_points[s.at].on) for s in measured]
    for circuit in {c.test_point: c for c in circuits if c is not None}.values():
        point = circuit.test_point
        if point is not None and circuit.functions and bench.by_hand(bench.test_points[point].meter):
            yield volts_prompt(plan, point, circuit.functions[0], 0.0)  # one answer serves both, by its name


def refuse_not_by_hand(plan: Plan, names: Collection[str]) -> None:
    """Raises InputError for names that are no steps with a reading to take."""
    known = [step.step for step in _steps(plan)]
    faults = [
        Fault("--by-hand", 0, 0, f"no step with a reading to take is called '{name[:60]}'{nearest(name, known)}")
        for name in names
        if name not in known
    ]
    if faults:
        raise InputError("not all of these can be taken by hand", f"Can be: {listed(known, 60)}.", faults=tuple(faults))


def _steps(plan: Plan) -> list[ByHandStep]:
    steps: Sequence[object] = [s for stage in plan.procedure.stages for s in each_step(stage.all_steps())]
    return [s for s in steps if isinstance(s, (Measure, Record, Time, Waveform))]


def asked_in(plan: Plan, step: ByHandStep) -> str:
    """The unit that a person is asked for: the one in which the limit's author thinks, else the canonical one."""
    limit = plan.limit(step)
    if limit is not None and limit.shown_in:
        return limit.shown_in
    if isinstance(step, Time):
        quantity = "time"
    elif isinstance(step, Measure):
        quantity = FUNCTION_QUANTITY[step.measure]
    elif isinstance(step, Record) and step.figure in CONTACT_FIGURES:
        quantity = "time"
    elif isinstance(step, Record):
        of = FUNCTION_QUANTITY[plan.bench.quantities[step.judged].measures]
        quantity = figure_quantity(step.figure, of) or of
    else:
        quantity = waveform_quantity(step, plan.bench.test_points[step.waveform].measures) or "voltage"
    return next(u.code for u in UNITS if u.quantity == quantity)


def _place(plan: Plan, name: str) -> str:
    """A test point or a quantity with what it is."""
    bench = plan.bench
    spec = bench.test_points.get(name) or bench.quantities.get(name)
    return name if spec is None else f"{name} ({spec.for_})"


def edge_words(plan: Plan, edge: InputEdge | OutputEdge | QuantityEdge) -> str:
    """An edge for a person."""
    if isinstance(edge, InputEdge):
        return f"'{edge.input} {edge.is_}' ({plan.bench.inputs[edge.input].for_})"
    if isinstance(edge, OutputEdge):
        return f"'{edge.output} {edge.is_}'"
    return f"'{edge.quantity} {edge.reaches or edge.falls_to}'"


def edge_code(plan: Plan, edge: InputEdge | OutputEdge | QuantityEdge) -> str:
    """An edge for a simulated person, who knows contacts and canonical units, not the bench's words."""
    if isinstance(edge, InputEdge):
        return f"{edge.input} {'closed' if edge.is_ == plan.bench.inputs[edge.input].closed else 'open'}"
    if isinstance(edge, OutputEdge):
        return f"{edge.output} {edge.is_}"
    if edge.reaches is not None:
        return f"{edge.quantity} up-to {edge.reaches.canonical().value:g}"
    assert edge.falls_to is not None
    return f"{edge.quantity} down-to {edge.falls_to.canonical().value:g}"
