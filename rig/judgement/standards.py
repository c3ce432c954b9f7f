"""Standards whose numbers this project could not read in the original: their limits judge nothing by themselves.

A limit that names one of them passes or fails a unit only where the unit profile approves the standard by name and
edition; somebody has then looked it up. The clauses listed beside a standard were read in a text that quotes them.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass


@dataclass(frozen=True)
class Unread:
    """A standard of which the numbers are from memory, but for ``quoted`` clauses."""

    name: str
    pattern: str
    about: str
    quoted: tuple[str, ...] = ()


UNREAD: tuple[Unread, ...] = (
    Unread("IEC 61010-2-040", r"61010-2-040", "sterilizers and washer-disinfectors as laboratory equipment"),
    Unread("IEC 61010-1", r"61010-1(?!\d)", "safety of laboratory equipment"),
    Unread("IEC 62353", r"62353", "recurrent test of medical electrical equipment", ("5.3.2",)),
    Unread("IEC 60335-1", r"60335-1(?!\d)", "household appliances"),
    Unread("DIN VDE 0701-0702", r"0701(?:-0702)?|0702", "electrical safety after repair"),
    Unread("EN 50678", r"EN\s*50678", "electrical safety after repair"),
    Unread("EN 50699", r"EN\s*50699", "recurrent test of appliances"),
    Unread("EN 13060", r"EN\s*(?:ISO\s*)?13060", "small steam sterilizers"),
    Unread("EN 285", r"EN\s*285(?!\d)", "large steam sterilizers"),
    Unread("ISO 17665", r"17665", "moist heat sterilization"),
    Unread("ANSI/AAMI ST55", r"ST\s*55(?!\d)", "table-top steam sterilizers"),
)


def named(text: str) -> list[Unread]:
    """The unread standards that a source names, but for their quoted clauses."""
    return [
        each
        for each in UNREAD
        if re.search(each.pattern, text, re.IGNORECASE)
        and not any(re.search(rf"(?<![\d.]){re.escape(c)}(?![\d.]*\d)", text) for c in each.quoted)
    ]


def withheld(source: str, approved: Collection[tuple[str, str]]) -> str:
    """Why a limit with this source may not judge; empty where it may. ``approved`` holds names and editions.

    The source must name an approved edition, or name none at all.
    """
    for each in named(source):
        editions = [edition for name, edition in approved if _same(name, each)]
        if not editions:
            return f"{each.name} ({each.about}) is cited from memory and the unit profile does not approve it"
        years = re.findall(r"(?<!\d)(?:19|20)\d\d(?!\d)", source)
        if years and not any(year in edition for year in years for edition in editions):
            return (
                f"the unit profile approves {each.name} in edition {' and '.join(editions)}, not {' and '.join(years)}"
            )
    return ""


def _same(name: str, standard: Unread) -> bool:
    return re.search(standard.pattern, name, re.IGNORECASE) is not None
