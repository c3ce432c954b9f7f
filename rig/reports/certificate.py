"""The certificate as a PDF/A-3 file (ISO 19005-3), with the signed record attached and the whole file sealed.

The seal stands among the keywords: an Ed25519 signature over the SHA-256 of the file with the seal's place filled with
noughts. So any change of the file is found, also where the text that one sees stays the same.
"""

from __future__ import annotations

import hashlib
import importlib.resources
import json
import re
from datetime import datetime
from typing import TYPE_CHECKING, Any

from rig.errors import InputError
from rig.records.canonical import canonical
from rig.records.chain import digest
from rig.records.keys import holds, sign
from rig.records.signed import SignedRecord, as_text
from rig.reports.certificate_view import certificate_view

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

PURPOSE = "certificate 1"
ATTACHED = "signed-record.json"
_MARK = "rig-seal-"
_LENGTH = 128  # hex digits of a signature
_EMPTY = _MARK + "0" * _LENGTH
_SEAL = re.compile(_MARK.encode() + rb"([0-9a-f]{128})")


def certificate(record: SignedRecord, key: Ed25519PrivateKey) -> bytes:
    """The sealed certificate of a record."""
    plain = unsealed(record)
    seal = sign(key, record.kind, PURPOSE, hashlib.sha256(plain).digest())
    return plain.replace(_EMPTY.encode(), (_MARK + seal).encode())


def unsealed(record: SignedRecord) -> bytes:
    """The certificate with noughts in the place of the seal: the same bytes for the same record and typst."""
    date = parts_of(record.statement["utc"])
    data = certificate_view(record) | {"seal": _EMPTY, "date": date, "qr": qr_svg(qr_text(record))}
    return compiled("certificate.typ", data, record=as_text(record))


def parts_of(utc: str) -> list[int]:
    """Year to second of a time, as the templates take it. A paper has the time of its record, not of its making."""
    found = datetime.fromisoformat(utc)
    return [found.year, found.month, found.day, found.hour, found.minute, found.second]


def compiled(template: str, data: dict[str, Any], **inputs: str) -> bytes:
    """A typst template of this room with its data, as PDF/A-3b; no font but typst's own is used."""
    import typst

    source = importlib.resources.files("rig.reports").joinpath(template).read_bytes()
    made = typst.compile(
        source,
        sys_inputs={"data": json.dumps(data), **inputs},
        pdf_standards="a-3b",
        ignore_system_fonts=True,
    )
    assert isinstance(made, bytes)
    return made


def qr_text(record: SignedRecord) -> str:
    """What the code on the paper says: whose certificate it is, and the hash of what was signed."""
    number, kind = record.statement["number"], record.kind
    return f"refurb-rig {kind} {number} sha256:{digest(canonical(record.statement))}"


def qr_svg(text: str) -> str:
    """A QR code (ISO/IEC 18004), error correction level M."""
    import segno

    made: str = segno.make(text, error="m", micro=False).svg_inline(border=2, scale=3)
    return made.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1) if "xmlns" not in made else made


def seal_holds(data: bytes, record: SignedRecord) -> bool:
    """Whether the whole file is as it was sealed with the record's key."""
    found = set(_SEAL.findall(data))
    if len(found) != 1:
        return False
    (seal,) = found
    plain = data.replace(_MARK.encode() + seal, _EMPTY.encode())
    return holds(record.public_key, record.kind, PURPOSE, hashlib.sha256(plain).digest(), seal.decode())


def attached_record(data: bytes, place: str) -> str:
    """The text of the record in a certificate. Raises InputError."""
    import io

    from pypdf import PdfReader
    from pypdf.errors import PyPdfError

    do = "Give a certificate (PDF) or the record attached to it (JSON)."
    try:
        found = PdfReader(io.BytesIO(data)).attachments.get(ATTACHED, [])
    except (PyPdfError, ValueError, KeyError, TypeError, AttributeError, RecursionError, OSError) as fault:
        raise InputError(f"this PDF cannot be read ({type(fault).__name__})", do, place) from None
    if len(found) != 1:
        raise InputError("this PDF has no signed record attached: it is no certificate, or was cut", do, place)
    return found[0].decode("utf-8", "replace")


def text_of(data: bytes) -> list[str]:
    """The lines of text of a PDF, page by page."""
    import io

    from pypdf import PdfReader

    lines = []
    for number, page in enumerate(PdfReader(io.BytesIO(data)).pages, 1):
        lines += [f"page {number}: {line.strip()}" for line in page.extract_text().splitlines() if line.strip()]
    return lines
