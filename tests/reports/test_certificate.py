"""The certificate: what it says, what it is, and that whatever is changed afterwards is found."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdf
import pytest
from of_a_release import key_of, record_of

from rig.errors import InputError, RuleError
from rig.limits import Verdict
from rig.records import indicators, moves
from rig.records.facts import Adjusted, Conceded, Corrected, FindingExplained, IndicatorPlaced, IndicatorRead
from rig.records.job import job_of
from rig.records.keys import PublicKey, signing_key
from rig.records.release import release
from rig.records.signed import SignedRecord, as_text, changes, record_from
from rig.reports.certificate import attached_record, certificate, compiled, parts_of, qr_svg, seal_holds, unsealed
from rig.reports.certificate_view import certificate_view
from rig.reports.label import label
from rig.reports.verify import Verified, verify_file
from tests.records.shop import LEAD, QA, RULES, TECH, Shop

Make = Callable[[str], Shop]


@pytest.fixture
def checked(tmp_path: Path) -> Callable[..., Verified]:
    """Verifies bytes as a file."""

    def check(data: bytes, *keys: PublicKey) -> Verified:
        path = tmp_path / "given"
        path.write_bytes(data)
        return verify_file(path, list(keys))

    return check


def words(pdf: bytes) -> str:
    text = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)
    return " ".join(text.split())


def test_a_workshops_certificate_is_valid_for_whoever_has_its_key(released: Make, checked: Any) -> None:
    shop = released("workshop")
    made = certificate(record_of(shop), signing_key(shop.store))
    found = checked(made, key_of(shop.store))
    assert found.valid
    assert (found.serial, found.signer) == ("LM-0042", "Q. Reviewer")
    assert not checked(made).valid
    assert checked(made).unfit == ("no public key was given, so nobody knows who signed it",)
    other = PublicKey("workshop", "Another", "11" * 32)
    assert "signed by another key" in checked(made, other).unfit[0]
    practice = PublicKey("practice", "x", key_of(shop.store).key)
    assert checked(made, practice).unfit == ("the key is of another kind than the certificate says",)
    assert checked(as_text(record_of(shop)).encode(), key_of(shop.store)).valid


def test_a_practice_certificate_is_never_valid_and_says_so_on_every_page(released: Make, checked: Any) -> None:
    shop = released("practice")
    made = certificate(record_of(shop), signing_key(shop.store))
    found = checked(made, key_of(shop.store))
    assert not found.changed
    assert found.unfit == ("PRACTICE: made for training, never valid for shipping",)
    for page in pypdf.PdfReader(io.BytesIO(made)).pages:
        assert "PRACTICE" in page.extract_text()


def test_a_practice_record_that_calls_itself_a_workshops_is_found(released: Make, checked: Any) -> None:
    shop = released("practice")
    plain = json.loads(as_text(record_of(shop)))
    plain["statement"]["kind"] = "workshop"
    key = PublicKey("workshop", "forged", key_of(shop.store).key)
    assert "signature is not one of this key" in checked(json.dumps(plain).encode(), key).changed[0]


def test_it_is_pdf_a_3_with_the_signed_record_attached_and_the_same_bytes_each_time(released: Make) -> None:
    shop = released("workshop")
    record = record_of(shop)
    made = certificate(record, signing_key(shop.store))
    assert made == certificate(record_of(shop), signing_key(shop.store))
    assert b"<pdfaid:part>3</pdfaid:part>" in made
    assert b"<pdfaid:conformance>B</pdfaid:conformance>" in made
    attached = record_from(attached_record(made, "x"), "x")
    assert attached.plain == json.loads(as_text(record))
    assert changes(attached) == ()


def test_what_iso_17025_lists_is_on_it(released: Make) -> None:
    """ISO/IEC 17025:2017, 7.8.2.1 a to p as far as it applies, and 7.8.6 (decision rule)."""
    shop = released("workshop")
    record = record_of(shop)
    said = words(certificate(record, signing_key(shop.store)))
    for item in (
        "Certificate of release",  # a
        "Low Mill Bench Works",  # b
        "1 Mill Lane, invented",  # b, c
        record.statement["number"],  # d
        "page 1 of",
        "end of certificate",
        "Practice Miller",  # e
        "final-inspection revision 1",  # f
        "LM-0042",  # g
        "Received 2026-03-02",  # h
        "Tests 2026-03-02",  # i
        "Released 2026-03-02",  # j
        "Next check due 2027-03-02, or sooner where a local code says so",
        "relate only to the unit named above",  # l
        "5.00 ± 0.20 V",  # m
        "No concession",  # n
        "Q. Reviewer",  # o
        "No part of these tests was made by anybody outside",  # p
        "Decision rule",
        "ILAC-G8:09/2019",
        "meter-1 M1 2027-01-01",
        "Caution",
        "decontamination".capitalize(),
        "I release this unit to its owner",  # 21 CFR 11.50(a)(3)
    ):
        assert item in said, item


def test_concessions_explanations_and_corrections_are_printed(released: Make) -> None:
    shop = released("workshop")
    shop.run("final-inspection", {"idle-current": Verdict.FAIL})
    own, today = shop.standing.own, shop.today
    conceded = Conceded("idle-current", "a lamp of a newer kind", "2026-03-09")
    moves.concede(shop.store, shop.job, conceded, RULES, LEAD, own, today)
    shop.run("incoming-inspection", {"fill-time": Verdict.FAIL})
    shop.run("incoming-inspection")
    moves.explain(shop.store, shop.job, FindingExplained("fill-time", "tap was shut"), RULES, LEAD, own, today)
    entry = job_of(shop.store, shop.job).entries[0].id
    moves.correct(shop.store, shop.job, Corrected(entry, "owner", "Practice Millar", "misheard"), RULES, TECH)
    first = job_of(shop.store, shop.job)
    assert first.release is None
    release(shop.store, shop.job, shop.standing, QA)
    said = words(certificate(record_of(shop), signing_key(shop.store)))
    for item in ("a lamp of a newer kind (granted by L. Lead, until 2026-03-09)", "tap was shut", "Practice Millar"):
        assert item in said
    assert "(replaces " in said


def test_adjustments_and_indicators_are_printed(released: Make) -> None:
    shop = released("workshop")
    sensor = Adjusted("temperature-sensor", "Cel", 134.0, 135.2, 134.1, "offset from 0 to -1.1 K", "Pt100 T4")
    indicators.adjust(shop.store, shop.job, sensor, TECH)
    placed = IndicatorPlaced("CI-3", "chemical", "lot 2231", "2027-03-31")
    indicators.place(shop.store, shop.job, placed, TECH, shop.today)
    read = IndicatorRead("CI-3", "pass", "A. Bench", shop.today.isoformat())
    indicators.read(shop.store, shop.job, read, TECH, shop.today)
    shop.tested()
    release(shop.store, shop.job, shop.standing, QA)
    said = words(certificate(record_of(shop), signing_key(shop.store)))
    for item in (
        "135.2 Cel",
        "134.1 Cel (offset from 0 to -1.1 K)",
        "lot 2231",
        "pass, read by A. Bench on 2026-03-02",
    ):
        assert item in said


@pytest.mark.parametrize("nasty", ["#panic()", "*x* _y_ $z$", "<script>", "\\n#", '"]', "= Heading", "\x1b[31m\u202e"])
def test_text_from_outside_is_printed_and_never_carried_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, nasty: str
) -> None:
    from rig.plan.visible import visible
    from rig.records.facts import Received

    shop = Shop.opened(f"sqlite:///{tmp_path / 'records.sqlite'}", "workshop", monkeypatch)
    fact = Received(f"S{nasty}", "demo-18-dc", nasty, "other", nasty, (nasty,))
    shop.job = moves.receive(shop.store, fact, RULES, TECH)
    said = words(label(shop.standing.own, job_of(shop.store, shop.job)))
    assert visible(nasty).replace("  ", " ") in said
    shop.store.close()


def test_a_byte_that_was_changed_anywhere_breaks_the_seal(released: Make, checked: Any) -> None:
    import random

    shop = released("workshop")
    record = record_of(shop)
    made = certificate(record, signing_key(shop.store))
    assert seal_holds(made, record)
    draw = random.Random(7)
    for _ in range(200):
        place = draw.randrange(len(made))
        broken = bytearray(made)
        broken[place] ^= 1 << draw.randrange(8)
        assert not seal_holds(bytes(broken), record)
    assert not seal_holds(made + b"\n", record)
    assert not seal_holds(unsealed(record), record)


def forged(record: SignedRecord, change: Callable[[dict[str, Any]], None], made: bytes) -> bytes:
    """The best that one without the key can do: a paper that says something else, with the true record and seal."""
    view = certificate_view(record)
    change(view)
    seal = made[made.index(b"rig-seal-") :][: len("rig-seal-") + 128].decode()
    data = view | {"seal": seal, "date": parts_of(record.statement["utc"]), "qr": qr_svg("x")}
    return compiled("certificate.typ", data, record=as_text(record))


def test_a_paper_that_says_something_else_is_told_line_by_line(released: Make, checked: Any) -> None:
    shop = released("workshop")
    record = record_of(shop)
    made = certificate(record, signing_key(shop.store))

    def change(view: dict[str, Any]) -> None:
        view["unit"][0][1] = "LM-0099"

    found = checked(forged(record, change, made), key_of(shop.store))
    assert not found.valid
    assert any("the paper says" in line and "LM-0099" in line for line in found.changed)
    assert any("the signed record says" in line and "LM-0042" in line for line in found.changed)


Change = Callable[[dict[str, Any]], object]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda p: p["entries"][0]["body"].update(serial="LM-0099"), "(Received): it was changed"),
        (lambda p: p["entries"][0].update(utc="2020-01-01T00:00:00.000+00:00"), "(Received): it was changed"),
        (lambda p: p["entries"].pop(3), "it was taken away"),
        (lambda p: p["entries"].append(p["entries"][0] | {"seq": 999}), "it was added"),
        (lambda p: p["entries"].reverse(), "another order"),
        (lambda p: p["runs"].pop(), "it was taken away"),
        (lambda p: p["runs"][0]["events"].pop(), "not those that were signed"),
        (lambda p: p["runs"][1].update(events=p["runs"][0]["events"]), "not those that were signed"),
        (lambda p: p["statement"].update(printed_name="X. Other"), "signature is not one of this key"),
        (lambda p: p["statement"].update(meaning="reviewed only"), "signature is not one of this key"),
        (lambda p: p["statement"]["printed"].update(care=["none"]), "signature is not one of this key"),
        (lambda p: p.update(signature="00" * 64), "signature is not one of this key"),
        (lambda p: p.update(public_key="00" * 32), "signature is not one of this key"),
        (lambda p: p["statement"].pop("entries"), "cannot be read"),
        (lambda p: p.update(entries=7), "cannot be read"),
    ],
)
def test_whatever_is_changed_in_a_record_is_told(released: Make, checked: Any, change: Change, says: str) -> None:
    shop = released("workshop")
    plain = json.loads(as_text(record_of(shop)))
    change(plain)
    found = checked(json.dumps(plain).encode(), key_of(shop.store))
    assert not found.valid
    assert any(says in line for line in (*found.changed, *found.unfit)), found


def test_a_signature_of_one_job_fits_no_other(released: Make, checked: Any) -> None:
    shop = released("workshop")
    first = json.loads(as_text(record_of(shop)))
    shop.receive("LM-0043")
    shop.papers()
    shop.self_check()
    shop.run("final-inspection", serial="LM-0043")
    shop.run("electrical-safety", serial="LM-0043")
    release(shop.store, shop.job, shop.standing, QA)
    second = json.loads(as_text(record_of(shop)))
    for name in ("signature", "statement"):
        found = checked(json.dumps(second | {name: first[name]}).encode(), key_of(shop.store))
        assert found.changed


def test_a_certificate_of_a_release_that_holds_no_more_is_not_made(released: Make) -> None:
    shop = released("workshop")
    shop.run("final-inspection")
    with pytest.raises(RuleError, match="something was added since"):
        record_of(shop)


@pytest.mark.parametrize(
    "data", [b"", b"%PDF-1.7\n", b"%PDF-1.7\n" + b"x" * 2000, b"{}", b"[1]", b'{"record": 1}', b"\xff"]
)
def test_a_file_that_is_no_certificate(checked: Any, data: bytes) -> None:
    with pytest.raises(InputError) as caught:
        checked(data)
    assert len(caught.value.lines()) == 2
