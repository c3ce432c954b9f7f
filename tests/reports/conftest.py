from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from rig.records.keys import PublicKey, own_public_key, signing_key
from rig.records.release import release
from rig.records.signed import SignedRecord, signed_record
from rig.records.store import Store
from tests.records.shop import QA, Shop


@pytest.fixture
def released(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], Shop]]:
    """Makes a shop whose job was released; its kind is workshop or practice."""
    made: list[Shop] = []

    def make(kind: str) -> Shop:
        shop = Shop.opened(f"sqlite:///{tmp_path / kind / 'records.sqlite'}", kind, monkeypatch)
        made.append(shop)
        shop.ready()
        release(shop.store, shop.job, shop.standing, QA)
        return shop

    yield make
    for shop in made:
        shop.store.close()


def record_of(shop: Shop) -> SignedRecord:
    return signed_record(shop.store, shop.job)


def key_of(store: Store) -> PublicKey:
    found = own_public_key(store.folder)
    assert found is not None
    assert signing_key(store).public_key().public_bytes_raw().hex() == found.key
    return found
