"""Each life in a bench's SQLite file is lived again in the shop's PostgreSQL: every move comes out alike there."""

from __future__ import annotations

from typing import Any, ClassVar

import pytest
from hypothesis import settings
from hypothesis.stateful import run_state_machine_as_test

from rig.records import ledger
from rig.records.canonical import parsed
from tests.postgres import Server
from tests.records import test_any_order as lives

# what is of one store alone: names given at random, hashes, keys and signatures
OWN = ("run", "head", "store", "public_key", "statement", "signature", "number", "version")


def said(life: lives.Life) -> list[tuple[Any, ...]]:
    """The ledger of a life, without what no two stores have in common."""
    with life.shop.store.reading() as connection:
        entries = ledger.read(connection)
    return [
        (e.seq, e.subject, e.kind, e.utc, e.by, {k: v for k, v in parsed(e.body).items() if k not in OWN})
        for e in entries
    ]


class OnBoth(lives.Life):
    """A life in SQLite that is lived again in PostgreSQL when it is over."""

    server: ClassVar[Server]

    def teardown(self) -> None:
        here, done = said(self), self.deeds.done
        super().teardown()
        again = Again()
        try:
            for name, words in self.story:
                getattr(again, name)(**words)
            assert again.deeds.done == done
            assert said(again) == here
        finally:
            again.teardown()


class Again(lives.Life):
    """The same life, in a database of its own."""

    def url(self) -> str:
        self.database = OnBoth.server.database()
        return OnBoth.server.url(self.database)

    def teardown(self) -> None:
        super().teardown()
        OnBoth.server.drop(self.database)


@pytest.fixture
def home(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> None:
    monkeypatch.setenv("RIG_HOME", str(tmp_path_factory.mktemp("home")))


@pytest.mark.usefixtures("home")
def test_both_stores_agree(server: Server) -> None:
    OnBoth.server = server
    own = settings(parent=lives.TestAnyOrder.settings, max_examples=lives.LIVES_BOTH)
    run_state_machine_as_test(OnBoth, settings=own)  # type: ignore[no-untyped-call]
