"""What a VISA library throws, as what happened and what a technician does; and resource strings that it cannot open.

The library's own words are for programmers and differ by backend, so none of them is passed on.
"""

from __future__ import annotations

import errno
import socket
from importlib.util import find_spec

from pyvisa import rname
from pyvisa.constants import StatusCode
from pyvisa.errors import VisaIOError
from pyvisa_py import sessions  # type: ignore[import-untyped]

from drivers import ports
from rig.errors import BadAnswer, InputError, InstrumentError, NoAnswer

FORMS = "TCPIP::HOST::PORT::SOCKET, ASRL/dev/ttyUSB0::INSTR, TCPIP::HOST::INSTR, USB::MAKER::MODEL::SERIAL::INSTR"
# What pyvisa-py must be helped with, by the beginning of the resource string.
HELPERS = {
    "USB": "PyUSB, and libusb of the system (pip install pyusb)",
    "GPIB": "linux-gpib or gpib-ctypes (pip install gpib-ctypes)",
    "VICP": "PyVICP (pip install pyvicp)",
}
CLOSED = "the connection was closed by the other end"
ENDED = (errno.ECONNRESET, errno.EPIPE, errno.ECONNABORTED, errno.ESHUTDOWN, errno.ENOTCONN)


def refuse_unusable(resource: str, link: str) -> None:
    """Raises InputError for a resource string that is none, or that needs what this computer does not have."""
    try:
        parsed = rname.ResourceName.from_string(resource)
        port = int(getattr(parsed, "port", "1"))
        session = sessions.Session.get_session_class(parsed.interface_type_const, parsed.resource_class)
    except (rname.InvalidResourceName, ValueError):
        port, session = 0, None
    if session is None or not 0 < port < 65536:
        what = f"link {link}: {resource[:80]!r} is no VISA resource string that can be opened here"
        raise InputError(what, f"Expected one such as {FORMS}.", link)
    issues = dict(sessions.Session.iter_session_classes_issues())
    kind = str(parsed.interface_type)
    if (parsed.interface_type_const, parsed.resource_class) in issues or (kind == "GPIB" and not _has_gpib()):
        helper = next((words for begin, words in HELPERS.items() if kind.startswith(begin)), "a library of its own")
        raise InputError(f"link {link}: a resource of kind {kind} needs {helper}, which is not installed",
                         "Install it, or reach the instrument by a socket or a serial port.", link)  # fmt: skip


def _has_gpib() -> bool:
    """Its sessions may also go through an adapter on a socket or a serial port, so they do not say what is missing."""
    return any(find_spec(name) is not None for name in ("gpib", "gpib_ctypes"))


def fault_of(error: Exception, resource: str, name: str) -> InstrumentError:
    """The error of ours for whatever a library threw while it talked to ``resource``."""
    if isinstance(error, UnicodeError):
        return BadAnswer("what came is no text", f"Check the serial settings ({resource}).", name)
    what, do = _words(error, resource)
    return NoAnswer(what, do or f"Check power and cable ({resource}).", name)


def _words(error: Exception, resource: str) -> tuple[str, str]:
    if isinstance(error, VisaIOError):
        if error.error_code == StatusCode.error_timeout:
            return "no answer came in time", ""
        if error.error_code == StatusCode.error_resource_not_found:
            return "nobody is found there", f"Check power, cable and address ({resource})."
        return f"the link failed ({error.abbreviation})", ""
    address = f"Check power, cable and address ({resource})."
    if isinstance(error, ConnectionRefusedError):
        return "the connection was refused", address
    if isinstance(error, socket.gaierror) or "Name or service not known" in str(error):
        return "there is no computer or instrument of that name", address
    if isinstance(error, OSError):
        return _of_the_system(error, resource)
    if "could not connect" in str(error):
        return "it cannot be reached", address
    return f"the link failed ({type(error).__name__})", ""


def _of_the_system(error: OSError, resource: str) -> tuple[str, str]:
    """A serial port's errors come with their number, or with it hidden in a text of the serial library's."""
    if error.errno in ENDED or str(error) == CLOSED:
        return CLOSED, ""
    if not resource.upper().startswith("ASRL"):
        return f"the link failed ({error.strerror or type(error).__name__})", ""
    number = error.errno or next((n for n in ports.WHY if f"({n}, " in str(error)), None)
    return ports.why(number, resource[4:].partition("::")[0])
