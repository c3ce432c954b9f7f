from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from rig.records.release import release
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
