"""``rig verify``: whether a certificate, or the records themselves, are as they were written."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from rig.cli.codes import PASSED, REFUSED
from rig.cli.options import json_option, print_json, store_option


@click.command("verify")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False), required=False)
@click.option("--key", "keys", type=click.Path(path_type=Path, dir_okay=False), multiple=True, metavar="FILE",
              help="The workshop's public key; else that of the records here. May be repeated.")  # fmt: skip
@store_option
@json_option
def command(file: Path | None, keys: tuple[Path, ...], store: str | None, as_json: bool) -> int:
    """Check a certificate (PDF) or a signed record (JSON) offline; without FILE, every chain of the records here.

    \b
    Examples:
      rig verify certificate.pdf --key public-key.json
      rig verify

    The exit code is 0 when it is valid, 4 when something was changed, the key is another's, or it is a practice
    paper; what was changed is said.
    """
    if file is None:
        return _records(store, as_json)
    from rig.plan.visible import visible
    from rig.records.keys import own_public_key, public_key
    from rig.records.store import place_of
    from rig.reports.verify import verify_file

    known = [public_key(path) for path in keys]
    if not keys:
        own = own_public_key(place_of(store).folder)
        known = [own] if own is not None else []
    found = verify_file(file, known)
    if as_json:
        print_json(asdict(found) | {"valid": found.valid})
        return PASSED if found.valid else REFUSED
    signed = f"signed by {visible(found.signer)}, {visible(found.utc)}"
    print(f"{visible(found.number)}: unit {visible(found.serial)}, {signed}")
    for line in found.changed:
        print(f"  CHANGED: {visible(line, 400)}")
    for line in found.unfit:
        print(f"  NOT VALID: {visible(line, 400)}")
    print("valid: as it was signed" if found.valid else "NOT VALID for shipping")
    return PASSED if found.valid else REFUSED


def _records(store: str | None, as_json: bool) -> int:
    from rig.records.declared import declared
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        problems, own, place, runs = records.problems(), declared(records), records.place, records.count_runs()
    if as_json:
        print_json({"place": place, "runs": runs, "problems": list(problems), "valid": not problems})
        return REFUSED if problems else PASSED
    print(own.heading())
    for problem in problems:
        print(f"  CHANGED: {problem}")
    print(f"{place}: {runs} runs, " + ("every chain holds" if not problems else "NOT as they were written"))
    return REFUSED if problems else PASSED
