"""A bench in a process of its own: works, and gathers again and again, until it is killed. Run by test_many_benches."""

from __future__ import annotations

import sys
from pathlib import Path

from rig.errors import RigError
from rig.records.floor import tell
from rig.records.gather import gather
from rig.records.store import Store


def main(folder: str, url: str) -> None:
    with Store.open(f"sqlite:///{Path(folder) / 'records.sqlite'}", must_exist=True) as bench:
        while True:
            try:
                with Store.open(url) as shop:
                    tell(bench, shop)
                    sending = gather(bench, shop, lambda s: print("sent", s.entries, flush=True))
            except RigError as fault:
                print("waits:", fault.what, flush=True)
                continue
            if not sending.entries:
                print("done", flush=True)
                return


if __name__ == "__main__":
    main(*sys.argv[1:])
