"""A diagnosis for people: ranked causes with their reasons, what to look at next, what to do. Words, not colours."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from rig.cli.rows import wrapped
from rig.cli.table import table
from rig.plan.visible import visible

if TYPE_CHECKING:
    from rig.cli.printer import Printer
    from rig.diagnosis.diagnosis import Diagnosis
    from rig.diagnosis.learn import Parts

MOST = 8  # causes in the table
WITH_REASONS = 3  # causes whose reasons are told
LEAST = 0.005  # a share below this is not worth a line
BAR = 20  # characters of a bar that is full


def show(found: Diagnosis, out: Printer, sources: bool = False, first: bool = False) -> None:
    """All of it on one stream; what to do comes last, or ``first``: a terminal shows its end, a page its beginning."""
    unit = f" · unit {found.table.unit}" if found.table.unit else ""
    out.line(Text(f"{found.table.table.title}{unit}", "bold"))
    out.line(f"{len(found.ranking.evidence)} observations · {found.advice.fit.words}", "")
    if first:
        _conclusion(found, out)
        out.line("")
    _causes(found, out)
    _reasons(found, out)
    _pairs(found, out)
    _next(found, out)
    if sources:
        _sources(found, out)
    if not first:
        out.line("")
        _conclusion(found, out)


def _conclusion(found: Diagnosis, out: Printer) -> None:
    out.line(*wrapped(Text(_advice(found), "bold"), max(out.width - 1, 20), 0))
    if found.advice.repeat:
        again = ", ".join(found.table.observations[o].title for o in found.advice.repeat)
        _paragraph(out, f"Repeat afterwards, and the test that failed: {again}.", 0)


def _causes(found: Diagnosis, out: Printer) -> None:
    rows = []
    for n, (name, share) in enumerate(found.ranking.shares().items(), 1):
        if n > MOST or (share < LEAST and n > WITH_REASONS):
            break
        rows.append((n, name, f"{100 * share:5.1f} %", _bar(share, out), found.table.title(name)))
    out.line(*table(("", "cause", "share", "", "what"), rows, out.width))


def _bar(share: float, out: Printer) -> str:
    full = out.looks.pick("█", "#")
    return full * round(BAR * share)


def _reasons(found: Diagnosis, out: Printer) -> None:
    for name, share in list(found.ranking.shares().items())[:WITH_REASONS]:
        why = found.reasons[name]
        if share < LEAST or not (why.for_ or why.against):
            continue
        out.line("", Text(name, "bold"))
        for sign, sentences in (("+ for     ", why.for_), ("- against ", why.against)):
            for sentence in sentences:
                _paragraph(out, f"{sign} {sentence}", 12)


def _pairs(found: Diagnosis, out: Printer) -> None:
    pairs = [(p, c) for p, c in found.ranking.pairs().items() if c >= 0.05][:3]
    if pairs:
        told = "; ".join(f"{a} with {b} {100 * c:.0f} %" for (a, b), c in pairs)
        out.line("")
        _paragraph(out, f"Two at once: {told}", 2)


def _next(found: Diagnosis, out: Printer) -> None:
    rows = [
        (n.observation, n.who, f"{n.cost.minutes:.0f} min", f"{n.bits:.2f} bit", n.why) for n in found.advice.next[:3]
    ]
    if rows:
        out.line("", *table(("look next at", "who", "time", "tells", "why"), rows, out.width))
        first = found.advice.next[0]
        for need in first.needs:
            _paragraph(out, f"  ! first: {need}", 11)


def _sources(found: Diagnosis, out: Printer) -> None:
    """How much of a number comes from the table's start, the simulation and the shop's own cases."""
    shares = list(found.ranking.shares())
    starts = [(name, *_parts(found.parts[name])) for name in shares[:MOST] if name in found.parts]
    out.line("", *table(("starting chance of", "start is", "start", "simulation", "shop"), starts, out.width))
    rows = [(name, *_parts(part)) for name, part in found.row_parts.items()]
    if rows:
        head = (f"how it comes out with {shares[0]}", "start is", "start", "simulation", "shop")
        out.line("", *table(head, rows, out.width))


def _parts(part: Parts) -> tuple[str, str, str, str]:
    counts = (part.start, part.simulation, part.shop)
    first, second, third = (f"{c / sum(counts):.0%}" for c in counts)
    return part.kind, first, second, third


def _advice(found: Diagnosis) -> str:
    advice = found.advice
    chance = f" ({100 * advice.chance:.0f} %)" if advice.remedy is not None else ""
    words = {
        "look": "Look next: ",
        "repair": "Repair now: ",
        "found": "Found: ",
        "try": "Try this: ",
        "book it in": "",
        "check again": "",
        "cannot be told": "Cannot be told apart: ",
        "repeat": "Repeat first: ",
        "cured": "Cured: ",
    }[advice.do]
    return visible(f"{words}{advice.words[0].upper() if not words else advice.words[0]}{advice.words[1:]}{chance}", 400)


def _paragraph(out: Printer, text: str, indent: int) -> None:
    out.line(*wrapped(Text(visible(text, 600)), max(out.width - 1, 20), indent))
