from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from shop import Shop

from rig.records.store import Store


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'records.sqlite'}"


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    with Store.open(url) as opened:
        yield opened


@pytest.fixture
def shop(url: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shop]:
    """The records of a workshop, with people in it."""
    opened = Shop.opened(url, "workshop", monkeypatch)
    yield opened
    opened.store.close()
