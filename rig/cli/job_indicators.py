"""The moves of ``rig job N`` about proof: what was adjusted, indicators that go in, and what they show later."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import click

from rig.cli.job_moves import MOVES, Act, job_move
from rig.cli.options import printable
from rig.cli.people import day

if TYPE_CHECKING:
    from rig.plan.rules import ShopRules
    from rig.records.people import Proved
    from rig.records.store import Store

__all__ = ["MOVES"]  # with the moves of this file among them


@job_move("adjust")
@click.argument("what", help="The sensor or the setting, such as temperature-sensor.", callback=printable)
@click.option("--unit", required=True, callback=printable, help="Of the readings: Cel, kPa.")
@click.option("--against", type=float, required=True, help="What the reference read.")
@click.option("--as-found", type=float, required=True, help="What the unit showed there, before.")
@click.option("--as-left", type=float, required=True, help="What it shows there now.")
@click.option("--adjusted", required=True, callback=printable, help="What was turned, and how far.")
@click.option("--reference", required=True, callback=printable, help="The reference, by its name or number.")
def adjust(what: str, unit: str, against: float, as_found: float, as_left: float, adjusted: str, reference: str) -> Act:
    """Note an adjustment of a sensor or a setting: as found, adjusted, as left. What was tested before is tested again.

    \b
    Example:
      rig job 7 adjust temperature-sensor --unit Cel --against 134.0 --as-found 135.2 --as-left 134.1
        --adjusted "offset from 0 to -1.1 K" --reference "Pt100 T4" --by "A. Bench"
    """
    from rig.records.facts import Adjusted
    from rig.records.indicators import adjust as move

    fact = Adjusted(what, unit, against, as_found, as_left, adjusted, reference)
    return lambda store, number, rules, who: move(store, number, fact, who)


@job_move("indicator")
@click.argument("label", help="What is written on it.", callback=printable)
@click.option("--kind", required=True, callback=printable, help="chemical or biological.")
@click.option("--lot", required=True, callback=printable, help="The lot on its box.")
@click.option("--expires", required=True, callback=day, metavar="DATE", help="Its last day, as 2027-03-31.")
@click.option("--run", default="", callback=printable, help="The run that the cycle belongs to.")
def indicator(label: str, kind: str, lot: str, expires: date, run: str) -> Act:
    """Note an indicator that goes in for a cycle. Until it is read, the unit is not released.

    \b
    Example:
      rig job 7 indicator CI-3 --kind chemical --lot 2231 --expires 2027-03-31 --by "A. Bench"
    """
    from rig.cli.standing import today
    from rig.records.facts import IndicatorPlaced
    from rig.records.indicators import place

    fact = IndicatorPlaced(label, kind, lot, expires.isoformat(), run)
    return lambda store, number, rules, who: place(store, number, fact, who, today())


@job_move("indicator-read")
@click.argument("label", help="What is written on it.", callback=printable)
@click.argument("result", help="pass or fail.", callback=printable)
@click.option("--reader", required=True, callback=printable, help="Who read it, here or in a laboratory.")
@click.option(
    "--on",
    default=None,
    callback=day,
    metavar="DATE",
    help="The day, as 2027-03-31; else today.",
)
@click.option("--words", default="", callback=printable, help="What was seen, the laboratory's number.")
def indicator_read(label: str, result: str, reader: str, on: date | None, words: str) -> Act:
    """Note what an indicator shows, pass or fail, whenever that is known: after the unit has left, too.

    \b
    Example:
      rig job 7 indicator-read CI-3 pass --reader "A. Bench" --by "A. Bench"
    """
    from rig.cli.standing import today
    from rig.records.facts import IndicatorRead
    from rig.records.indicators import read

    def act(store: Store, number: str, rules: ShopRules, who: Proved) -> None:
        read(store, number, IndicatorRead(label, result, reader, (on or today()).isoformat(), words), who, today())

    return act
