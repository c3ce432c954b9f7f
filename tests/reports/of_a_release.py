"""The signed record of a released job, and the key that it was signed with."""

from __future__ import annotations

from rig.records.keys import PublicKey, own_public_key, signing_key
from rig.records.signed import SignedRecord, signed_record
from rig.records.store import Store
from tests.records.shop import Shop


def record_of(shop: Shop) -> SignedRecord:
    return signed_record(shop.store, shop.job)


def key_of(store: Store) -> PublicKey:
    found = own_public_key(store.folder)
    assert found is not None
    assert signing_key(store).public_key().public_bytes_raw().hex() == found.key
    return found
