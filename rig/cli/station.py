"""``rig station``: serve the simulated station in real time until stopped."""

from __future__ import annotations

import asyncio
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from rig.cli.codes import PASSED, SIGNALLED
from rig.cli.options import fault_option, json_option, print_json, wire_fault_option
from rig.errors import InputError

GROUP, NAME = "refurb_rig.stations", "demo"
BENCHES = {"tcp": "simulated", "serial": "simulated-rtu"}  # the bundled bench whose links the station serves
SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


@click.command("station")
@click.option("--unit", default="demo-18-dc", show_default=True, help="The type of the simulated unit.")
@fault_option
@wire_fault_option
@click.option("--seed", type=click.IntRange(0, 2**63 - 1), default=0, show_default=True,
              help="Which of the simulated units of this type it is.")  # fmt: skip
@click.option("--speed", type=click.FloatRange(0, 1000, min_open=True), default=1.0, show_default=True,
              help="Seconds of the station to one of the wall.")  # fmt: skip
@click.option("--wiring", type=click.Choice(list(BENCHES)), default="tcp", show_default=True,
              help="On sockets, or Modbus, meter and scale on serial lines (pseudo-terminals).")  # fmt: skip
@click.option("--bench-file", metavar="FILE", help="Write a bench file that reaches these listeners.")
@click.option("--list-faults", is_flag=True, help="List the faults that a simulated unit can have.")
@click.option("--list-wire-faults", is_flag=True, help="List the lies that a simulated instrument's wire can tell.")
@json_option
def command(
    unit: str,
    faults: tuple[tuple[str, float], ...],
    wire_faults: tuple[tuple[str, str, int | None], ...],
    seed: int,
    speed: float,
    wiring: str,
    bench_file: str | None,
    list_faults: bool,
    list_wire_faults: bool,
    as_json: bool,
) -> int:
    """Serve the simulated station until stopped. It says where it listens, one line a listener.

    \b
    Examples:
      rig station --fault coil-open --bench-file served.yaml
      rig run incoming-inspection --bench served.yaml --pace real
      rig station --list-faults
    """
    factory, module = _entry()
    if list_faults:
        return _print_list(module.list_faults(), ("fault", "what is wrong with the unit"), as_json)
    if list_wire_faults:
        return _print_list(module.list_wire_faults(), ("fault", "what the wire does"), as_json)
    order = {"unit": unit, "faults": dict(faults), "seed": seed, "speed": speed, "wiring": wiring}
    say = _say_in_json if as_json else _say_in_lines
    return asyncio.run(
        _serve(factory, lambda station: say(module.listener_lines(station)), order, wire_faults, bench_file)
    )


def _entry() -> tuple[Any, Any]:
    """The station factory and the module it comes from. Raises InputError."""
    import importlib
    from importlib.metadata import entry_points

    for entry in entry_points(group=GROUP, name=NAME):
        return entry.load(), importlib.import_module(entry.module)
    raise InputError(f"no station is called {NAME}", "Install refurb-rig again.")


def _seen(fault: dict[str, Any]) -> str:
    """What shows of a fault of the unit, or of the wire."""
    return str(fault.get("noticed") or fault.get("seen"))


def _print_list(faults: list[dict[str, Any]], heads: tuple[str, str], as_json: bool) -> int:
    if as_json:
        print_json(faults)
        return PASSED
    from rig.cli.printer import Printer
    from rig.cli.table import table

    out = Printer(sys.stdout)
    rows = [(fault["name"], f"{fault['line']}. A technician sees: {_seen(fault)}") for fault in faults]
    out.line(*table(heads, rows, out.width))
    return PASSED


def station_module() -> Any:
    """The module of the station that comes with the rig."""
    return _entry()[1]


async def _serve(
    factory: Any,
    say: Callable[[Any], None],
    order: dict[str, Any],
    wire_faults: tuple[tuple[str, str, int | None], ...],
    bench_file: str | None,
) -> int:
    """Start, tell where, wait for a signal, close; 128 + its number."""
    stopped: asyncio.Future[int] = asyncio.get_running_loop().create_future()
    for number in SIGNALS:
        asyncio.get_running_loop().add_signal_handler(number, _stop, stopped, number)
    try:
        station = await factory(**order, lockstep=False)
    except ValueError as fault:  # an unknown unit or fault, or a fault that this unit cannot have
        raise InputError(str(fault), "'rig station --list-faults' lists the faults.") from None
    try:
        try:
            for kind, instrument, times in wire_faults:
                station.misbehave(kind, instrument, times)
        except ValueError as fault:
            raise InputError(str(fault), "'rig station --list-wire-faults' lists them.") from None
        if bench_file is not None:
            _write_bench_file(Path(bench_file), station.addresses, order)
        say(station)
        sys.stdout.flush()
        return SIGNALLED + await stopped
    finally:
        await station.close()


def _say_in_lines(lines: list[str]) -> None:
    print(*lines, sep="\n")


def _say_in_json(lines: list[str]) -> None:
    """What is spoken, and where: ``modbus tcp 127.0.0.1:5020``."""
    spoken = (line.rpartition(" ") for line in lines)
    print_json([{"speaks": words, "address": address} for words, _, address in spoken])


def _stop(stopped: asyncio.Future[int], number: int) -> None:
    if not stopped.done():
        stopped.set_result(number)


def _bench_tree(wiring: str) -> dict[str, Any]:
    """The bundled bench as it is written."""
    from rig.plan.load import load_named
    from rig.plan.source import plain

    tree: dict[str, Any] = plain(load_named("bench", BENCHES[wiring]).tree)
    return tree


def _write_bench_file(path: Path, addresses: dict[str, Any], order: dict[str, Any]) -> None:
    """The bundled bench with the station's addresses in it. Raises InputError."""
    import yaml

    from rig.plan.load import load

    tree = _bench_tree(order["wiring"])
    del tree["station"]
    ordered = {"bench": tree.pop("bench"), "title": tree.pop("title"), "simulated": tree.pop("simulated")}
    for name, link in tree["links"].items():
        found, visa = addresses[name], link["protocol"] == "visa"
        if found.kind == "serial":
            link["address"] = f"ASRL{found.path}::INSTR" if visa else found.path
        else:
            link["address"] = f"TCPIP::{found.host}::{found.port}::SOCKET" if visa else f"{found.host}:{found.port}"
    text = yaml.safe_dump(ordered | {"speed": order["speed"]} | tree, sort_keys=False, allow_unicode=True, width=1000)
    head = "# Written by 'rig station': reaches its listeners for as long as it runs.\n"
    try:
        path.write_text(head + text, encoding="utf-8")
    except (OSError, ValueError) as fault:
        raise InputError(f"cannot be written: {fault}", "Name another file.", str(path)) from None
    load(path)  # what we write must be what we read
