"""The moves of ``rig job N``: each reads its words, and calls one function of the records."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.codes import PASSED
from rig.cli.options import inherited_store_option, json_option, print_json, printable
from rig.cli.people import day
from rig.cli.who import proved, who_options

if TYPE_CHECKING:
    from rig.plan.rules import ShopRules
    from rig.records.people import Proved
    from rig.records.store import Store

MOVES: dict[str, click.Command] = {}
Act = Callable[["Store", str, "ShopRules", "Proved"], Any]


def job_move(name: str) -> Callable[[Callable[..., Act]], click.Command]:
    """A move: the options' values make an act, which is carried out by whoever has proved to be somebody."""

    def make(function: Callable[..., Act]) -> click.Command:
        parameters = list(reversed(getattr(function, "__click_params__", [])))

        def callback(by: str, pin_file: Path | None, store: str | None, as_json: bool, **options: Any) -> int:
            context = click.get_current_context()
            assert context.parent is not None
            number, of_the_job = context.parent.params["number"], context.parent.params["as_json"]
            return carry_out(store, number, by, pin_file, function(**options), as_json or of_the_job)

        command = click.Command(name, params=parameters, callback=callback, help=function.__doc__)
        command = json_option(inherited_store_option(who_options(command)))
        MOVES[name] = command
        return command

    return make


def carry_out(store: str | None, number: str, by: str, pin_file: Path | None, act: Act, as_json: bool) -> int:
    """Open the records, prove who acts, act, and say what the job waits for now."""
    from rig.cli.standing import shop_rules
    from rig.records.job import job_of
    from rig.records.release import due
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        rules = shop_rules(records)
        job_of(records, number)  # whether there is one is said before anybody is asked for a PIN
        who = proved(records, by, pin_file)
        act(records, number, rules, who)
        job = job_of(records, number)
    if as_json:
        print_json({"job": number, "by": who.name, "stage": job.stage})
    else:
        print(f"job {number}: kept, by {who.name}; {'now' if job.closed else 'next'}: {due(job, rules)}")
    return PASSED


@job_move("decontaminate")
@click.argument("how", type=click.Choice(["declaration", "workshop"]),
                help="By the owner's signed declaration, or here.")  # fmt: skip
@click.option("--signed-by", required=True, callback=printable, help="Who signed it, or did it here.")
@click.option("--words", default="", callback=printable, help="How it was done, where the paper is.")
def decontaminate(how: str, signed_by: str, words: str) -> Act:
    """Note that the unit is decontaminated: by the owner's signed declaration, or here.

    \b
    Example:
      rig job 7 decontaminate workshop --signed-by "A. Bench" --words "drained, wiped, 30 min" --by "A. Bench"
    """
    from rig.records.facts import Decontaminated
    from rig.records.moves import note

    return lambda store, number, rules, who: note(store, number, Decontaminated(how, signed_by, words), rules, who)


@job_move("data")
@click.argument("done", help="What became of them.", type=click.Choice(["none", "left", "copied", "erased"]))
@click.option("--consent", default="", callback=printable, help="Who agreed, and how.")
def data(done: str, consent: str) -> Act:
    """Note what became of the owner's data in the unit. Copied or erased only with consent.

    \b
    Example:
      rig job 7 data erased --consent "S. Miller, letter of 3 March" --by "A. Bench"
    """
    from rig.records.facts import DataLeft
    from rig.records.moves import note

    return lambda store, number, rules, who: note(store, number, DataLeft(done, consent), rules, who)


@job_move("look")
@click.argument("looks", nargs=-1, required=True, metavar="ITEM=FINDING...",
                help="What was looked at, and its finding: vessel=ok, cord=sheath cut; all=ok.")  # fmt: skip
def look(looks: tuple[str, ...]) -> Act:
    """Note what was looked at, and what was found.

    \b
    Example:
      rig job 7 look vessel=ok "cord=sheath cut near the plug" --by "A. Bench"
    """
    from rig.cli.receive import looked
    from rig.records.moves import note

    def act(store: Store, number: str, rules: ShopRules, who: Proved) -> None:
        for fact in looked(looks, tuple(rules.look_at)):
            note(store, number, fact, rules, who)

    return act


@job_move("diagnose")
@click.option("--cause", required=True, callback=printable, help="The cause's name, such as rectifier-open.")
@click.option("--words", default="", callback=printable, help="What speaks for it.")
def diagnose(cause: str, words: str) -> Act:
    """Name the cause.

    \b
    Example:
      rig job 7 diagnose --cause rectifier-open --words "11.9 V under load" --by "A. Bench"
    """
    from rig.cli.standing import must_be_cause
    from rig.records.facts import Diagnosed
    from rig.records.moves import diagnose as move

    fact = Diagnosed(must_be_cause(cause), words)
    return lambda store, number, rules, who: move(store, number, fact, rules, who)


@job_move("estimate")
@click.option("--price", type=float, required=True, help="The price, without the currency.")
@click.option("--currency", default="EUR", show_default=True, callback=printable, help="In three letters.")
@click.option("--words", default="", callback=printable, help="What it is for.")
@click.option("--beyond-repair", is_flag=True, help="It is beyond economic repair.")
def estimate(price: float, currency: str, words: str, beyond_repair: bool) -> Act:
    """Say what the repair would cost, or that it is not worth it.

    \b
    Example:
      rig job 7 estimate --price 90 --currency EUR --words "rectifier, one hour" --by "A. Bench"
    """
    from rig.records.facts import Estimated
    from rig.records.moves import estimate as move

    fact = Estimated(price, currency, words, beyond_repair)
    return lambda store, number, rules, who: move(store, number, fact, rules, who)


@job_move("answer")
@click.argument("said", help="The owner's answer.", type=click.Choice(["approved", "refused", "scrap"]))
@click.option("--owner", required=True, callback=printable, help="Who of the owner's side gave it.")
@click.option("--how", default="", callback=printable, help="By telephone, letter, mail.")
def answer(said: str, owner: str, how: str) -> Act:
    """Note what the owner says to the estimate.

    \b
    Example:
      rig job 7 answer approved --owner "S. Miller" --how telephone --by "A. Bench"
    """
    from rig.records.facts import OwnerAnswered
    from rig.records.moves import answer as move

    return lambda store, number, rules, who: move(store, number, OwnerAnswered(said, owner, how), rules, who)


@job_move("explain")
@click.argument("finding", help="The open finding, by its name on the job's page.")
@click.option("--reason", required=True, callback=printable, help="Why it is none of the unit's.")
def explain(finding: str, reason: str) -> Act:
    """Close a finding that is none of the unit's, such as one of the site. A lead does it; never a safety one.

    \b
    Example:
      rig job 7 explain tilt-at-owner --reason "the owner has levelled the table" --by "L. Lead"
    """
    from rig.cli.standing import today
    from rig.records.declared import declared
    from rig.records.facts import FindingExplained
    from rig.records.moves import explain as move

    fact = FindingExplained(finding, reason)
    return lambda store, number, rules, who: move(store, number, fact, rules, who, declared(store), today())


@job_move("concede")
@click.argument("finding", help="The open finding, by its name on the job's page.")
@click.option("--reason", required=True, callback=printable, help="Why it is released all the same.")
@click.option("--until", required=True, callback=day, metavar="DATE", help="Its last day, as 2026-12-31.")
def concede(finding: str, reason: str, until: date) -> Act:
    """Grant a concession for one step that is no safety step. A lead does it; it is printed on the certificate.

    \b
    Example:
      rig job 7 concede idle-current --reason "indicator lamp of a newer kind" --until 2026-12-31 --by "L. Lead"
    """
    from rig.cli.standing import today
    from rig.records.declared import declared
    from rig.records.facts import Conceded
    from rig.records.moves import concede as move

    fact = Conceded(finding, reason, until.isoformat())
    return lambda store, number, rules, who: move(store, number, fact, rules, who, declared(store), today())


@job_move("correct")
@click.argument("entry", help="The entry's number on the job's page.")
@click.option("--field", required=True,
              help="serial, owner, complaint, words, signed_by, consent, cause or minutes.")  # fmt: skip
@click.option("--value", required=True, callback=printable, help="What it should have said.")
@click.option("--reason", required=True, callback=printable, help="Why.")
def correct(entry: str, field: str, value: str, reason: str) -> Act:
    """Say what an entry of the job should have said. It stays as it is, and the correction names it.

    \b
    Example:
      rig job 7 correct 12 --field owner --value "Practice Millar" --reason "misheard" --by "A. Bench"
    """
    from rig.cli.standing import must_be_cause
    from rig.records.facts import Corrected
    from rig.records.job import WITHDRAWN, job_of
    from rig.records.moves import correct as move

    if field == "cause" and value != WITHDRAWN:
        must_be_cause(value)

    def act(store: Store, number: str, rules: ShopRules, who: Proved) -> None:
        found = [e.id for e in job_of(store, number).entries if entry in (str(e.seq), e.id)]
        whole = found[0] if found else entry
        move(store, number, Corrected(whole, field, value, reason), rules, who)

    return act


@job_move("withdraw")
@click.option("--reason", required=True, callback=printable, help="Why it must not go on this release.")
def withdraw(reason: str) -> Act:
    """Withdraw the release of a unit that has not left. QA does it.

    \b
    Example:
      rig job 7 withdraw --reason "the wrong bottle was packed" --by "Q. Reviewer"

    Get the certificates back that were made of it: on paper they look as they did.
    """
    from rig.records.facts import ReleaseWithdrawn
    from rig.records.job import job_of
    from rig.records.moves import withdraw as move

    def act(store: Store, number: str, rules: ShopRules, who: Proved) -> None:
        release = job_of(store, number).release
        move(store, number, ReleaseWithdrawn("" if release is None else release[1].number, reason), who)

    return act


@job_move("ship")
@click.option("--how", default="", callback=printable, help="By whom, in what, drained and dried.")
def ship(how: str) -> Act:
    """Let the unit leave, on a release that still holds.

    \b
    Example:
      rig job 7 ship --how "parcel 123, drained, dried, transport locks fitted" --by "A. Bench"
    """
    from rig.cli.standing import today
    from rig.records.facts import Shipped
    from rig.records.moves import ship as move

    return lambda store, number, rules, who: move(store, number, Shipped(how), who, today())


@job_move("return")
@click.option("--words", default="", callback=printable, help="In what state it goes.")
def give_back(words: str) -> Act:
    """Give the unit back unrepaired, when the owner has refused the estimate.

    \b
    Example:
      rig job 7 return --words "as it came, tagged" --by "A. Bench"
    """
    from rig.records.facts import ReturnedUnrepaired
    from rig.records.moves import give_back as move

    return lambda store, number, rules, who: move(store, number, ReturnedUnrepaired(words), who)


@job_move("scrap")
@click.option("--words", default="", callback=printable, help="How it was made useless, where it went.")
def scrap(words: str) -> Act:
    """Scrap the unit, on the owner's word. A lead does it.

    \b
    Example:
      rig job 7 scrap --words "cord cut off, to the yard" --by "L. Lead"
    """
    from rig.records.facts import Scrapped
    from rig.records.moves import scrap as move

    return lambda store, number, rules, who: move(store, number, Scrapped(words), who)
