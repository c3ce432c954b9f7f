"""What the ledger can say: one frozen dataclass a kind of entry. What was kept under a name stays readable under it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fact:
    """What an entry says. Who said it, when and of which job stands around it."""


# --- the store


@dataclass(frozen=True)
class StoreMade(Fact):
    """The first entry. ``store`` is a UUIDv7."""

    store: str
    version: str


@dataclass(frozen=True)
class StoreMigrated(Fact):
    """The tables were brought to a newer form. ``runs`` (id, events, last hash) are those from before the ledger."""

    from_version: str
    to_version: str
    runs: tuple[tuple[str, int, str], ...]


@dataclass(frozen=True)
class StoreDeclared(Fact):
    """What the store is, said once: ``kind`` is workshop or practice."""

    kind: str
    name: str
    address: str


@dataclass(frozen=True)
class KeyMade(Fact):
    """The store's signing key: its public part (Ed25519, RFC 8032) as hex."""

    kind: str
    public_key: str


@dataclass(frozen=True)
class FileApproved(Fact):
    """A procedure, a profile or a bench is in force in this form; ``sha256`` is that of the file."""

    kind: str
    name: str
    revision: str
    sha256: str


@dataclass(frozen=True)
class Gathered(Fact):
    """Entries of a bench have come to the shop, up to its entry ``number`` with the hash ``head``. ``clock`` is by how
    many seconds its clock was ahead of the shop's; ``behind`` how many of its entries are here and no longer there."""

    store: str
    entries: int
    runs: int
    number: int
    head: str
    clock: float
    behind: int


@dataclass(frozen=True)
class SetAside(Fact):
    """An entry of a bench that says of a run what does not fit what was here first: its text, and the texts of the
    run's events that are not here."""

    store: str
    entry: str
    events: tuple[str, ...]
    why: str


# --- people


@dataclass(frozen=True)
class PersonAdded(Fact):
    name: str


@dataclass(frozen=True)
class RoleGiven(Fact):
    """``since`` and ``until`` are dates (ISO 8601), both included; no ``until`` is until further notice."""

    name: str
    role: str
    since: str
    until: str | None


@dataclass(frozen=True)
class RoleEnded(Fact):
    """The last day was the one before ``on``."""

    name: str
    role: str
    on: str


@dataclass(frozen=True)
class PinSet(Fact):
    """``verifier`` is an Argon2id string (RFC 9106), from which the PIN cannot be read."""

    name: str
    verifier: str


@dataclass(frozen=True)
class PinRefused(Fact):
    name: str


@dataclass(frozen=True)
class PinAccepted(Fact):
    """Kept after refusals only: it ends their count."""

    name: str


@dataclass(frozen=True)
class Unlocked(Fact):
    name: str


# --- runs


@dataclass(frozen=True)
class InstrumentOnBench(Fact):
    name: str
    serial: str
    calibrated_until: str | None


@dataclass(frozen=True)
class FileUsed(Fact):
    kind: str
    name: str
    revision: str
    sha256: str


@dataclass(frozen=True)
class RunBegan(Fact):
    """A run's first event was kept. ``proved`` says that ``by`` gave a PIN."""

    run: str
    procedure: str
    unit: str
    serial: str
    bench: str
    simulated: bool
    proved: bool
    files: tuple[FileUsed, ...] = ()
    instruments: tuple[InstrumentOnBench, ...] = ()


@dataclass(frozen=True)
class RunClosed(Fact):
    """A run's last event was kept, and with it the whole chain. No verdict: it was cut off."""

    run: str
    events: int
    head: str
    verdict: str | None


# --- the life of a job


@dataclass(frozen=True)
class Received(Fact):
    """``complaint`` is the table's name, ``words`` are the owner's."""

    serial: str
    unit: str
    owner: str
    complaint: str
    words: str
    accessories: tuple[str, ...] = ()
    warranty_of: str | None = None


@dataclass(frozen=True)
class Decontaminated(Fact):
    """``how``: declaration (signed by ``signed_by`` at the owner's) or workshop (done here by that person)."""

    how: str
    signed_by: str
    words: str = ""


@dataclass(frozen=True)
class DataLeft(Fact):
    """The owner's data in the unit: none, left, copied or erased; ``consent`` says who agreed, and how."""

    done: str
    consent: str


@dataclass(frozen=True)
class Looked(Fact):
    """A visual check. ``finding`` is what was found, empty for nothing."""

    item: str
    finding: str


@dataclass(frozen=True)
class Diagnosed(Fact):
    cause: str
    words: str


@dataclass(frozen=True)
class Estimated(Fact):
    price: float
    currency: str
    words: str
    beyond_repair: bool


@dataclass(frozen=True)
class OwnerAnswered(Fact):
    """``answer``: approved, refused or scrap."""

    answer: str
    who: str
    how: str


@dataclass(frozen=True)
class PartFitted(Fact):
    """``part`` is a word of the table that says what must be measured again."""

    part: str
    lot: str
    condition: str = "new"  # new, used, or none where work was done without a part


@dataclass(frozen=True)
class Repaired(Fact):
    parts: tuple[PartFitted, ...]
    minutes: float
    cause: str
    words: str


@dataclass(frozen=True)
class Adjusted(Fact):
    """A sensor or a setting of the unit was adjusted. ``as_found`` and ``as_left`` are its readings in ``unit`` where
    ``reference``, an instrument by its name or number, read ``against``; ``adjusted`` says what was turned, how far."""

    what: str
    unit: str
    against: float
    as_found: float
    as_left: float
    adjusted: str
    reference: str


@dataclass(frozen=True)
class IndicatorPlaced(Fact):
    """An indicator went into the unit for a cycle; ``label`` is what is written on it. ``expires`` is its last day
    (ISO 8601), ``run`` the run that the cycle belongs to, where the rig watched it."""

    label: str
    kind: str
    lot: str
    expires: str
    run: str = ""


@dataclass(frozen=True)
class IndicatorRead(Fact):
    """``result`` is pass or fail; ``reader`` is who read it, in this shop or in a laboratory, ``on`` the day of it."""

    label: str
    result: str
    reader: str
    on: str
    words: str = ""


@dataclass(frozen=True)
class FindingExplained(Fact):
    """Why a finding is none of the unit's any more."""

    finding: str
    words: str


@dataclass(frozen=True)
class Conceded(Fact):
    """Release despite this one (ISO 9000:2015, 3.12.5); ``until`` is its last day."""

    finding: str
    reason: str
    until: str


@dataclass(frozen=True)
class Released(Fact):
    """``statement`` is canonical JSON (RFC 8785), ``signature`` the Ed25519 one over it, as hex."""

    number: str
    statement: str
    signature: str
    public_key: str


@dataclass(frozen=True)
class ReleaseWithdrawn(Fact):
    """The release ``number`` holds no more, though nothing was done to the unit; ``reason`` says why."""

    number: str
    reason: str


@dataclass(frozen=True)
class PaperIssued(Fact):
    number: str
    paper: str
    sha256: str


@dataclass(frozen=True)
class Shipped(Fact):
    how: str


@dataclass(frozen=True)
class ReturnedUnrepaired(Fact):
    words: str


@dataclass(frozen=True)
class Scrapped(Fact):
    words: str


@dataclass(frozen=True)
class Corrected(Fact):
    """``field`` of the entry with the id ``entry`` should have said ``value``. The entry stays as it is."""

    entry: str
    field: str
    value: str
    reason: str


KINDS: dict[str, type[Fact]] = {
    name: cls
    for name, cls in list(vars().items())
    if isinstance(cls, type) and issubclass(cls, Fact) and cls not in (Fact, InstrumentOnBench, FileUsed, PartFitted)
}
