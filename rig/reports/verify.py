"""Whether a certificate, or the signed record in it, is as it was signed: offline, with the workshop's public key."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from pathlib import Path

from rig.errors import InputError
from rig.records.keys import PublicKey
from rig.records.signed import SignedRecord, changes, record_from
from rig.reports.certificate import attached_record, seal_holds, text_of, unsealed

MOST = 64 * 1024 * 1024  # bytes; the largest certificate seen has a fifth of one per cent of this
_SHOWN = 12  # changed lines that are told


@dataclass(frozen=True)
class Verified:
    """What was found. ``changed`` says what is not as it was signed, ``unfit`` why it is not valid all the same."""

    number: str
    kind: str
    serial: str
    signer: str
    utc: str
    changed: tuple[str, ...]
    unfit: tuple[str, ...]

    @property
    def valid(self) -> bool:
        """Valid for shipping: as it was signed, by the key given, and that a workshop's."""
        return not self.changed and not self.unfit


def verify_file(path: Path, keys: list[PublicKey]) -> Verified:
    """Check a certificate (PDF) or a signed record (JSON). Raises InputError for a file that is neither."""
    try:
        if path.stat().st_size > MOST:
            raise InputError("too large to be a certificate", "Name the certificate's file.", str(path))
        data = path.read_bytes()
    except OSError as fault:
        raise InputError(f"cannot be read: {fault.strerror}", "Name the certificate's file.", str(path)) from None
    is_pdf = data[:1024].lstrip().startswith(b"%PDF-")
    record = record_from(attached_record(data, str(path)) if is_pdf else data, str(path))
    changed = list(changes(record))
    if is_pdf and not seal_holds(data, record):
        changed += _on_paper(data, record) if not changed else ["the file is not as it was sealed"]
    return _found(record, tuple(changed), tuple(_unfit(record, keys)))


def _on_paper(data: bytes, record: SignedRecord) -> list[str]:
    """What the paper says where the signed record says something else."""
    signed, there = text_of(unsealed(record)), text_of(data)
    lines = [line for line in difflib.ndiff(signed, there) if line[:2] in ("- ", "+ ")]
    if not lines:
        return ["the file is not as it was sealed; the text that it shows is that of the signed record"]
    words = {"- ": "the signed record says", "+ ": "the paper says"}
    told = [f"{words[line[:2]]}: {line[2:][:200]}" for line in lines[:_SHOWN]]
    more = [f"and {len(lines) - _SHOWN} more lines"] if len(lines) > _SHOWN else []
    return ["the file is not as it was sealed", *told, *more]


def _unfit(record: SignedRecord, keys: list[PublicKey]) -> list[str]:
    found = []
    own = [key for key in keys if key.key == record.public_key]
    if not keys:
        found.append("no public key was given, so nobody knows who signed it")
    elif not own:
        found.append(f"it was signed by another key than {', '.join(key.workshop or key.kind for key in keys)}'s")
    elif str(record.statement.get("kind")) not in [key.kind for key in own]:
        found.append("the key is of another kind than the certificate says")
    if record.statement.get("kind") != "workshop":
        found.append("PRACTICE: made for training, never valid for shipping")
    return found


def _found(record: SignedRecord, changed: tuple[str, ...], unfit: tuple[str, ...]) -> Verified:
    said = record.statement
    number, kind, serial = str(said.get("number")), str(said.get("kind")), str(said.get("serial"))
    return Verified(number, kind, serial, str(said.get("printed_name")), str(said.get("utc")), changed, unfit)
