"""Rows put in, or put in the place of those with the same key, which each kind of database writes in its own way."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite


def upsert(connection: sa.Connection, table: sa.Table, rows: Sequence[dict[str, Any]], add: Iterable[str] = ()) -> None:
    """Put rows into a table; of a row that is there the columns ``add`` are added to, all others replaced."""
    if not rows:
        return
    summed = set(add)
    keys = [c.name for c in table.primary_key.columns]
    insert: Any = sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    put = insert(table)
    others = [c for c in table.columns if c.name not in keys]
    new = {c.name: c + put.excluded[c.name] if c.name in summed else put.excluded[c.name] for c in others}
    put = put.on_conflict_do_update(index_elements=keys, set_=new) if new else put.on_conflict_do_nothing()
    connection.execute(put, list(rows))
