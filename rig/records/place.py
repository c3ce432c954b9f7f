"""Where records are: a bench's own SQLite file, or the shop's PostgreSQL."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from rig.errors import InputError

FILE_NAME = "records.sqlite"
SHOPS = "shops"  # the folder for what belongs to a shop's store and is kept here: its signing key
WRITE = (
    "Write sqlite:///PATH, with one more stroke for an absolute path: sqlite:////srv/records.sqlite; "
    "or postgresql+psycopg://USER@HOST/DATABASE."
)


@dataclass(frozen=True)
class Place:
    """``path`` is the file, None for PostgreSQL; ``folder`` is where locks and keys of the store lie here; ``shown``
    names the place without a password."""

    url: sa.URL
    path: Path | None
    folder: Path
    shown: str

    @property
    def may_hold(self) -> bool:
        """Whether records can be there: a file must exist; of a database it is known when it is opened."""
        return self.path is None or self.path.exists()


def default_path() -> Path:
    """The records of this bench: in ``RIG_HOME`` if set, else in the platform's folder of user data."""
    home = os.environ.get("RIG_HOME")
    if home:
        return Path(home).expanduser() / FILE_NAME
    import platformdirs

    return platformdirs.user_data_path("refurb-rig", appauthor=False) / FILE_NAME


def place_of(url: str | None, culprit: str = "--store") -> Place:
    """The place that a store's URL means; None is the default. Raises InputError for other kinds of store."""
    if url is None:
        return _file(default_path())
    try:
        parsed = sa.make_url(url)
    except sa.exc.ArgumentError:
        raise InputError(f"cannot read {_no_secret(url)!r} as the URL of a store", WRITE, culprit) from None
    kind = parsed.get_backend_name()
    if kind == "postgresql":
        return _database(parsed, culprit)
    if kind != "sqlite":
        raise InputError(f"no such kind of store: {kind}", WRITE, culprit)
    if not parsed.database or parsed.database == ":memory:":
        raise InputError("records are kept in a file", "Write sqlite:///PATH.", culprit)
    return _file(Path(parsed.database))


def path_of(url: str | None, why: str = "") -> Path:
    """The file that a store's URL means. Raises InputError for PostgreSQL, with ``why``, and for other kinds."""
    place = place_of(url)
    if place.path is None:
        what = "this is done with the records of a bench, in a file"
        raise InputError(what, why or "Write sqlite:///PATH.", "--store")
    return place.path


def _file(path: Path) -> Place:
    return Place(sa.URL.create("sqlite", database=str(path)), path, path.parent, str(path))


def _database(url: sa.URL, culprit: str) -> Place:
    if url.drivername not in ("postgresql", "postgresql+psycopg"):
        raise InputError(f"no such driver: {url.drivername}", "Write postgresql+psycopg://USER@HOST/DATABASE.", culprit)
    own = url.set(drivername="postgresql+psycopg")
    shown = own.set(query={}).render_as_string(hide_password=True)
    # which database, whoever opens it
    which = f"{own.host or own.query.get('host')}:{own.port or own.query.get('port')}/{own.database}"
    folder = default_path().parent / SHOPS / hashlib.sha256(which.encode()).hexdigest()[:12]
    return Place(own, None, folder, shown)


def _no_secret(url: str) -> str:
    """What is shown of a URL that cannot be read: not what may be a password in it."""
    return url.rpartition("@")[2] if "@" in url else url
