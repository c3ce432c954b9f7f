"""The chain of hashes that binds the events of a run to each other and to their order."""

from __future__ import annotations

import hashlib

from rig.records.canonical import canonical

BEGINNING = "0" * 64


def digest(text: str) -> str:
    """SHA-256 (FIPS 180-4) of a text's UTF-8, as hex."""
    return hashlib.sha256(text.encode()).hexdigest()


def link(run: str, seq: int, previous: str, body: str, form: str) -> str:
    """The hash over the run, the number, the hash before and the event's ``body``, which is canonical in its form.

    What is hashed is canonical, too: these keys already stand in order.
    """
    middle = "" if form == "1" else f'"form":{canonical(form)},'
    return digest(f'{{"event":{body},{middle}"previous":"{previous}","run":{canonical(run)},"seq":{seq}}}')
