"""Whether readings will be good enough to decide by: the test uncertainty ratio of each step before it is run.

The uncertainty is that of the bench file's accuracy statements at the ends of the limit; scatter adds to it in the
run. Where a rule refuses a poor ratio it is a fault; elsewhere a warning.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from rig.errors import Fault
from rig.judgement.risk import Prior, Risks, process_width, risks
from rig.limits import Limit
from rig.plan.expected import NotKnown, lines_at, written_limit
from rig.plan.plan_limits import limit_of, rule_of
from rig.plan.procedure import Ask, Judged
from rig.plan.values import LimitRef
from rig.plan.view import Placed, View
from rig.quantities import unit
from rig.uncertainty import total


@dataclass(frozen=True)
class Ratio:
    """What is known of one limit before the run: expanded uncertainty (k = 2) and test uncertainty ratio (None
    where the limit spans nothing); ``why_not`` says why neither can be known."""

    step: str
    limit: Limit
    expanded: float | None
    ratio: float | None
    why_not: str

    def risks(self, in_tolerance: float) -> Risks | None:
        """The consumer's and the producer's risk of deciding by the limit's rule (JCGM 106:2012, 9.4), where the units
        that are measured scatter normally about the middle between its ends and ``in_tolerance`` of them conform;
        accepted is what passes. None where nothing is known, or the limit has not two ends."""
        low, high = self.limit.at_least, self.limit.at_most
        if self.expanded is None or self.expanded <= 0 or low is None or high is None or low >= high:
            return None
        prior = Prior((low + high) / 2.0, (high - low) / 2.0 * process_width(in_tolerance))
        u = self.expanded / 2.0
        return risks(self.limit, self.limit.acceptance(u), prior, u)


def poor_ratios(view: View) -> Iterator[Fault]:
    """A ratio below the least one, where the rule refuses it."""
    yield from (fault for fault, refused in _poor(view) if refused)


def ratios_to_warn_of(view: View) -> Iterator[Fault]:
    """A ratio below the least one, where the rule lets it be."""
    yield from (fault for fault, refused in _poor(view) if not refused)


def some_reading_passes(view: View) -> Iterator[Fault]:
    """The guard bands leave something between the ends of a limit: else no reading at all could pass."""
    for placed, limit, expanded in _expected(view):
        if limit.at_least is None or limit.at_most is None or isinstance(expanded, str):
            continue
        band = limit.rule.guard * expanded
        if 2.0 * band > limit.at_most - limit.at_least:
            message = (
                f"no reading can meet this limit: its ends are {limit.at_most - limit.at_least:.3g} {_unit(limit)} "
                f"apart, and the guard band takes {band:.3g} {_unit(limit)} off each"
            )
            yield view.fault(placed, ("limit",), message)


def ratios(view: View) -> list[Ratio]:
    """Every limit of a plan, in order."""
    found = []
    for placed, limit, expanded in _expected(view):
        known = None if isinstance(expanded, str) else expanded
        why_not = expanded if isinstance(expanded, str) else ""
        found.append(Ratio(placed.step.step, limit, known, None if known is None else limit.ratio(known), why_not))
    return found


def _poor(view: View) -> Iterator[tuple[Fault, bool]]:
    for placed, limit, expanded in _expected(view):
        why = "" if isinstance(expanded, str) else limit.too_poor(expanded)
        if why:
            yield view.fault(placed, ("limit",), why), limit.rule.refuse


def _expected(view: View) -> Iterator[tuple[Placed, Limit, float | str]]:
    """Each limit with the expanded uncertainty at its worse end, or why that cannot be known before the run."""
    for placed in view.steps:
        limit = _limit(view, placed)
        if limit is None:
            continue
        expanded: float | str
        try:
            expanded = max((2.0 * total(lines_at(view, placed, end))[0] for end in _ends(limit)), default=0.0)
        except NotKnown as error:
            expanded = str(error)
        except ValueError:
            continue  # units that do not fit are said by another rule
        yield placed, limit, expanded


def _limit(view: View, placed: Placed) -> Limit | None:
    """The limit of a step, where it has one of its reading's kind."""
    step, written = placed.step, written_limit(view, placed)
    if written is None or unit(written.unit).quantity != view.reading(step):
        return None  # the latter said by another rule
    of_profile = isinstance(step, (Judged, Ask)) and isinstance(step.limit, LimitRef) and view.profile is not None
    rule = rule_of(view.profile, view.procedure) if of_profile and view.profile else rule_of(view.procedure)
    return limit_of(written, written.source, rule)


def _ends(limit: Limit) -> Iterable[float]:
    return [end for end in (limit.at_least, limit.at_most) if end is not None]


def _unit(limit: Limit) -> str:
    return "K" if limit.unit == "Cel" else limit.unit


RULES = (poor_ratios, some_reading_passes)
WARNINGS = (ratios_to_warn_of,)
