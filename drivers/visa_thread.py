"""One VISA instrument, one owner thread.

VISA calls block, and two threads on one instrument mix up each other's answers. So each instrument has a daemon
thread that alone touches it. The thread knows nothing of the bench's clock. A link that timed out or answered oddly
is dropped with its thread, because its answer may still come and would be taken for that of the next question.
"""

from __future__ import annotations

import asyncio
import contextlib
import queue
import threading
import time
from collections.abc import Callable
from typing import Any, TypeVar

import pyvisa
from pyvisa import constants
from pyvisa.errors import Error as VisaError

from drivers.visa_faults import fault_of
from drivers.visa_tap import put_on
from rig.plan.wiring import Link

T = TypeVar("T")

# Longer than any answer the driver waits for on the bench's clock: only a wedged library meets it.
LIBRARY_GUARD_MS = 15_000
DRAIN_EVERY = 0.005  # s between two looks whether more has come; a character takes 1 ms at 9600 baud
MOST_DRAINED = 1_000_000  # bytes; what says more than that does not stop
END = "\n"
DEFAULT_BAUD = 9600  # of a serial instrument that the bench file says nothing of; eight bits, no parity, one stop bit

_Job = tuple[Callable[[Any], Any], "asyncio.Future[Any]", asyncio.AbstractEventLoop]


class VisaLink:
    """An open VISA resource and its thread."""

    def __init__(self, resource: str, name: str, spec: Link, heard: Callable[[bytes], None]) -> None:
        self._resource, self._name, self._spec, self._heard = resource, name, spec, heard
        self._tapped = self._dropped = False
        self._jobs: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._session: Any = None  # for waking its reader alone
        self._thread = threading.Thread(target=self._work, name=f"visa {name}", daemon=True)
        self._thread.start()

    async def query(self, line: str) -> str:
        """Send a line and wait for one. Raises NoAnswer, BadAnswer for what is no text."""
        return await self._do(lambda session: self._query(session, line))

    async def drain(self) -> None:
        """Throw away what lies ready on a serial port, and what follows it at once. Raises NoAnswer."""
        await self._do(_drain)

    def drop(self) -> None:
        """Let go at once; the thread ends when its present call does, which a read on a serial port then does soon."""
        self._dropped = True
        self._jobs.put(None)
        if self._session is not None:
            _wake(self._session)

    async def _do(self, call: Callable[[Any], T]) -> T:
        loop = asyncio.get_running_loop()
        future: asyncio.Future[T] = loop.create_future()
        self._jobs.put((call, future, loop))
        try:
            return await future
        except Exception as error:  # whatever a VISA library throws
            raise fault_of(error, self._resource, self._name) from error

    def _query(self, session: Any, line: str) -> str:
        session.write(line)
        raw: bytes = session.read_raw()
        if not self._tapped:  # else it was shown as it came
            self._show(raw)
        return raw.decode("ascii").removesuffix(END)

    def _show(self, data: bytes) -> None:
        """Of a link that was dropped nobody hears any more."""
        if not self._dropped:
            self._heard(data)

    def _work(self) -> None:
        session: Any = None
        while (job := self._jobs.get()) is not None:
            call, future, loop = job
            try:
                if session is None:
                    session = self._session = _open(self._resource, self._spec)
                    self._tapped = put_on(session, self._show)
                result, error = call(session), None
            except Exception as caught:  # whatever a VISA library throws belongs to the one who asked
                result, error = None, caught
            try:
                loop.call_soon_threadsafe(_settle, future, result, error)
            except RuntimeError:  # the loop is gone: nobody waits any more
                break
        self._session = None
        if session is not None:
            _close(session)


def _settle(future: asyncio.Future[Any], result: Any, error: Exception | None) -> None:
    if future.done():
        return
    if error is not None:
        future.set_exception(error)
    else:
        future.set_result(result)


_manager: pyvisa.ResourceManager | None = None
_manager_lock = threading.Lock()


def _open(resource: str, spec: Link) -> Any:
    global _manager
    with _manager_lock:  # the manager itself may be shared, its making may not
        if _manager is None:
            _manager = pyvisa.ResourceManager("@py")
        session: Any = _manager.open_resource(resource)
    session.read_termination = END
    session.write_termination = END
    session.timeout = LIBRARY_GUARD_MS
    if resource.upper().startswith("ASRL"):
        session.baud_rate = spec.baud or DEFAULT_BAUD
        session.parity = getattr(constants.Parity, spec.parity or "none")
        session.stop_bits = constants.StopBits.two if spec.stop_bits == 2 else constants.StopBits.one
    return session


def _drain(session: Any) -> None:
    """An instrument that has much to say goes on when room is made for it, so one look is not enough."""
    gone, quiet = 0, 0
    while quiet < 2 and gone < MOST_DRAINED:
        waiting = session.bytes_in_buffer
        if waiting:
            session.read_bytes(waiting)
            gone, quiet = gone + waiting, 0
        else:
            time.sleep(DRAIN_EVERY)
            quiet += 1


def _given_up(size: int = 1) -> bytes:
    raise OSError("nobody waits for this answer any more")


def _wake(session: Any) -> None:
    """End a read on a serial port from outside. Else its thread would go on taking the bytes meant for whoever opens
    the port next, for as long as the library's own time limit. A socket has a connection to itself, and may wait."""
    try:
        raw = getattr(session.visalib, "sessions", {}).get(session.session)
    except VisaError:  # its thread has closed it already
        return
    port: Any = getattr(raw, "interface", None)
    if hasattr(port, "cancel_read"):
        port.read = _given_up
        with contextlib.suppress(OSError):  # it is being closed already
            port.cancel_read()


def _close(session: Any) -> None:
    try:
        session.close()
    except (VisaError, OSError) as error:
        del error  # a link that is already gone cannot be closed any better
