"""Events to JSON and back, exactly: what comes back equals what went in.

The stored form is that of :func:`rig.events.as_dict`, with two things that it leaves out (the unit in which a limit's
author thinks, and the order of the parts of an uncertainty), traces packed, and whole numbers beyond 2^53 - 1 as text.
"""

from __future__ import annotations

import types
from collections.abc import Callable
from dataclasses import MISSING, fields, is_dataclass
from enum import Enum
from functools import cache
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from rig import events
from rig.events import Event, RunRecord, StepEnded, Traced, as_dict
from rig.records.canonical import SAFE_INTEGER, canonical, parsed
from rig.records.packing import packed, unpacked

E = TypeVar("E", bound=Event)
T = TypeVar("T")
Build = Callable[[Any], Any]

KINDS: dict[str, type[Event]] = {
    name: cls
    for name, cls in vars(events).items()
    if isinstance(cls, type) and issubclass(cls, Event) and cls is not Event
}


def encode(event: Event) -> dict[str, Any]:
    """The event as plain JSON values, with nothing left out."""
    plain = as_dict(event)
    if isinstance(event, StepEnded):
        result, stored = event.result, plain["result"]
        if result.limit is not None:
            stored["limit"]["shown_in"] = result.limit.shown_in
        if result.reading is not None:
            stored["reading"]["parts"] = [list(part) for part in result.reading.parts]
    if isinstance(event, Traced):
        plain |= {"times": packed(event.times), "values": packed(event.values)}
    return {name: _kept(value) for name, value in plain.items()}


def encode_fields(value: Any) -> Any:
    """A frozen dataclass of plain values, tuples and the like as JSON values, without its name."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: encode_fields(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple):
        return [encode_fields(v) for v in value]
    return str(value) if isinstance(value, Enum) else _kept(value)


def decode_fields(cls: type[T], plain: Any) -> T:
    """The dataclass that :func:`encode_fields` wrote. Raises ValueError for anything else."""
    found: T = _build(cls, plain)
    return found


def _kept(value: Any) -> Any:
    """JSON has no whole number beyond 2^53 - 1 that every program reads alike: it is kept as text."""
    return str(value) if type(value) is int and abs(value) > SAFE_INTEGER else value


def decode(plain: Any) -> Event:
    """The event that :func:`encode` wrote. Raises ValueError for anything else."""
    if not isinstance(plain, dict) or str(plain.get("event")) not in KINDS:
        raise ValueError(f"not an event: {str(plain)[:80]}")
    found: Event = _build(KINDS[plain["event"]], {k: v for k, v in plain.items() if k != "event"})
    return found


def normal(event: E) -> E:
    """The event as it will come back from the store: whole numbers in places of floats become floats."""
    back = decode(parsed(canonical(encode(event))))
    assert isinstance(back, type(event))
    return back


def normal_record(record: RunRecord) -> RunRecord:
    """The record as it will be when it comes back from the store."""
    steps = tuple(normal(StepEnded(step.ended, step)).result for step in record.steps)
    return RunRecord(normal(record.started), steps, normal(record.ended))


def _build(hint: Any, value: Any) -> Any:
    """``value``, which is plain JSON, as the type that ``hint`` names."""
    return _builder(hint)(value)


@cache
def _builder(hint: Any) -> Build:
    """How plain JSON becomes what ``hint`` names, worked out once: a large ledger has millions of values, and few
    types."""
    origin = get_origin(hint)
    if origin in (Union, types.UnionType):
        return _optional(hint)
    if origin is tuple:
        return _tuple(get_args(hint))
    if is_dataclass(hint) and isinstance(hint, type):
        return lambda value: _dataclass(hint, value)
    if isinstance(hint, type) and issubclass(hint, Enum):
        return hint
    return _plain(hint)


def _plain(hint: Any) -> Build:
    def build(value: Any) -> Any:
        if type(value) is hint:
            return value
        if hint is float and type(value) is int:
            return float(value)
        if hint is int and isinstance(value, str) and value.lstrip("-").isdecimal():
            return int(value)
        raise ValueError(f"expected {hint}, found {value!r}")

    return build


def _optional(hint: Any) -> Build:
    inner = [a for a in get_args(hint) if a is not type(None)]
    if len(inner) != 1 or len(get_args(hint)) != 2:
        raise ValueError(f"no rule for {hint}")
    build = _builder(inner[0])
    return lambda value: None if value is None else build(value)


def _tuple(parts: tuple[Any, ...]) -> Build:
    builders = [_builder(part) for part in parts if part is not Ellipsis]
    packs, of_any_length = parts == (float, Ellipsis), parts[-1:] == (Ellipsis,)

    def build(value: Any) -> tuple[Any, ...]:
        if packs and isinstance(value, str):
            return unpacked(value)
        if not isinstance(value, list):
            raise ValueError(f"expected a list, found {value!r}")
        if of_any_length:
            return tuple(map(builders[0], value))
        return tuple(b(v) for b, v in zip(builders, value, strict=True))

    return build


@cache
def _fields(cls: type) -> tuple[dict[str, Build], frozenset[str]]:
    """What becomes of each field, and the fields that must be given."""
    hints, known = get_type_hints(cls), fields(cls)
    needed = frozenset(f.name for f in known if f.default is MISSING and f.default_factory is MISSING)
    return {f.name: _builder(hints[f.name]) for f in known}, needed


def _dataclass(cls: type, value: Any) -> Any:
    if not isinstance(value, dict):
        raise ValueError(f"expected the fields of {cls.__name__}, found {value!r}")
    builders, needed = _fields(cls)
    unknown, missing = value.keys() - builders.keys(), needed - value.keys()
    if unknown or missing:
        raise ValueError(f"{cls.__name__}: unknown {sorted(unknown)}, missing {sorted(missing)}")
    return cls(**{name: builders[name](v) for name, v in value.items()})
