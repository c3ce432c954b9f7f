"""What a command asks of a person, in the words of a form: one source for the form that is drawn, for the conversation
in lines, and for ``--help``. The answers go back to the command as its command line has them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import click

from rig.cli.options import AskedFor

LEFT_OUT = ("by", "pin_file", "store", "as_json", "rules", "number", "job")
SEVERAL = ";"  # between the values of what may be given more than once
YES, NO = "yes", "no"
_OPTION = re.compile(r"'rig [^']*'|(?P<quote>'?)--(?P<name>[a-z]+(?:-[a-z]+)*)(?P=quote)")


@dataclass(frozen=True)
class Field:
    """One thing that a command asks. ``choices`` are the only words that it takes; an empty one where it may be left
    out."""

    name: str
    label: str
    hint: str
    value: str
    choices: tuple[str, ...]
    needed: bool
    several: bool


def fields_of(
    command: click.Command, values: Mapping[str, str] | None = None, choices: Mapping[str, Sequence[str]] | None = None
) -> list[Field]:
    """What a command asks beside who does it, in its own order. ``values`` are there already, ``choices`` are words of
    the shop's, both by the command's names."""
    asked = [p for p in command.params if p.name is not None and p.name not in LEFT_OUT]
    return [_field(p, values or {}, choices or {}) for p in asked]


def _field(param: click.Parameter, values: Mapping[str, str], choices: Mapping[str, Sequence[str]]) -> Field:
    name, flag = param.name or "", bool(getattr(param, "is_flag", False))
    default = str(param.default) if isinstance(param.default, str | int | float) and not flag else ""
    needed = param.required or isinstance(param, AskedFor)
    words = tuple(choices.get(name, ()))
    if isinstance(param.type, click.Choice):
        words = tuple(str(word) for word in param.type.choices)
    if words and not needed and name not in choices:
        words = ("", *words)
    several = bool(getattr(param, "multiple", False)) or param.nargs == -1
    hint = getattr(param, "help", None) or ""
    return Field(name, label_of(param), hint, values.get(name, default), (NO, YES) if flag else words, needed, several)


def label_of(param: click.Parameter) -> str:
    """What a form calls an option or an argument."""
    written = param.opts[0].lstrip("-") if isinstance(param, click.Option) else param.name or ""
    return written.replace("-", " ").replace("_", " ")


def told_of(command: click.Command) -> list[str]:
    """What a command is for, then what is to be known of it: its help without the examples. Cautions begin with '!'."""
    parts = [part.strip() for part in (command.help or "").split("\n\n")]
    return [" ".join(part.split()) for part in parts if not part.startswith("\b")]


def arguments_of(command: click.Command, answers: Mapping[str, str], signed: Sequence[str] = ()) -> list[str]:
    """The answers as the command line has them, with the options of whoever signs."""
    options: list[str] = []
    positional: list[str] = []
    for param in command.params:
        answer = answers.get(param.name or "", "").strip()
        if not answer:
            continue
        several = getattr(param, "multiple", False) or param.nargs == -1
        values = [v.strip() for v in answer.split(SEVERAL) if v.strip()] if several else [answer]
        if isinstance(param, click.Argument):
            positional += values
        elif getattr(param, "is_flag", False):
            options += [param.opts[0]] if answer == YES else []
        else:
            options += [f"{param.opts[0]}={value}" for value in values]
    return [*options, *signed, *(["--", *positional] if positional else [])]


def for_a_form(text: str, command: click.Command, say: Callable[[str], str]) -> str:
    """What a command said, with the fields of its form where it names options. Commands in quotes stay: what is named
    to be typed can be done nowhere else."""
    labels = {p.opts[0]: label_of(p) for p in command.params if isinstance(p, click.Option)}
    labels |= {"--by": say("form.by"), "--pin-file": say("begin.pin")}

    def label(found: re.Match[str]) -> str:
        own = labels.get(f"--{found['name']}") if found["name"] else None
        return found.group() if own is None else f"{found['quote']}{own}{found['quote']}"

    return _OPTION.sub(label, text)
