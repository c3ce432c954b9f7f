"""``rig gather``: send finished records to the shop."""

from __future__ import annotations

import sys
import time
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from rig.cli.codes import PASSED
from rig.cli.options import json_option, print_json, store_option
from rig.errors import InputError, RecordError

if TYPE_CHECKING:
    from rig.records.gather import Sending

SHOP = "RIG_SHOP"


@click.command("gather")
@click.option("--to", metavar="URL", envvar=SHOP, help=f"The shop's store: postgresql+psycopg://…; else from {SHOP}.")
@click.option("--follow", is_flag=True, help="Go on until stopped, and tell the floor what runs.")
@click.option("--every", type=click.FloatRange(0.2, 3600), default=5.0, show_default=True, metavar="SECONDS",
              help="How often, with --follow.")  # fmt: skip
@store_option
@json_option
def command(to: str | None, follow: bool, every: float, store: str | None, as_json: bool) -> int:
    """Send what is finished on this bench to the shop's PostgreSQL, as often as it takes.

    \b
    Examples:
      rig gather --to postgresql+psycopg://bench-2@shop/records
      rig gather --to postgresql+psycopg://bench-2@shop/records --follow

    What is there already is not sent again; after a cut cable or a kill it goes on where it was. Nothing on the bench
    waits for it. What differs is said: a bench that was put back to an older state, a job number that another unit has.
    The first bench to come makes the shop's store in an empty database.
    """
    if to is None:
        raise InputError("expected the shop's store", f"Give --to postgresql+psycopg://…, or set {SHOP}.", "--to")
    if follow:
        return _follow(to, every, store)
    sending = _once(to, store, floor=False)
    if as_json:
        print_json(_plain(sending))
    else:
        _tell(sending)
    return PASSED


def _once(to: str, store: str | None, floor: bool) -> Sending:
    from rig.records.floor import tell
    from rig.records.gather import gather
    from rig.records.place import place_of
    from rig.records.store import Store
    from rig.shop.summary import bring_up_to_date

    place_of(to, "--to")
    with Store.open(store, must_exist=True) as bench, Store.open(to) as shop:
        if floor:
            tell(bench, shop)
        sending = gather(bench, shop)
        if sending.entries:
            bring_up_to_date(shop)
    return sending


def _follow(to: str, every: float, store: str | None) -> int:
    """Until a signal ends it. A shop that is away is tried again; that it is away is said once."""
    away = ""
    while True:
        try:
            sending = _once(to, store, floor=True)
        except RecordError as fault:
            if fault.what != away:
                print(*fault.lines(), sep="\n", file=sys.stderr, flush=True)
            away = fault.what
        else:
            if sending.entries or away:
                _tell(sending)
            away = ""
        time.sleep(every)


def _plain(sending: Sending) -> dict[str, Any]:
    from rig.records.gather import lines

    return asdict(sending) | {"differs": list(lines(sending))}


def _tell(sending: Sending) -> None:
    from rig.records.gather import lines

    print(f"sent {sending.entries} entries and {sending.runs} runs; {sending.known} entries were there", flush=True)
    for line in lines(sending):
        print(f"  differs: {line}", flush=True)
