"""Serial ports of this computer: why one cannot be opened, and what a technician does about it."""

from __future__ import annotations

import errno
import os
import stat

WHY = {
    errno.ENOENT: ("there is no port {at}", "Plug in the adapter, or correct the port in the bench file."),
    errno.ENODEV: ("the port {at} has gone", "Plug the adapter in again."),
    errno.EACCES: ("this user may not open port {at}", "Have the user added to the group that owns it (dialout)."),
    errno.EBUSY: ("the port {at} is in use", "End the other program that has it open."),
    errno.EISDIR: ("{at} is a folder, not a port", "Correct the port in the bench file."),
    errno.ENOTTY: ("{at} is no serial port", "Correct the port in the bench file."),
}
OTHERWISE = ("the port {at} cannot be opened", "Plug the adapter in again; end other programs that have it open.")


def why(number: int | None, port: str) -> tuple[str, str]:
    """What the system's error of that number says of a port, and what to do."""
    what, do = WHY.get(number or 0, OTHERWISE)
    return what.format(at=port), do


def why_not_opened(port: str) -> tuple[str, str]:
    """Looks at a port that a library could not open, and was silent about it."""
    try:
        mode = os.stat(port).st_mode
    except (OSError, ValueError) as error:
        return why(getattr(error, "errno", None), port)
    if stat.S_ISDIR(mode):
        return why(errno.EISDIR, port)
    if not stat.S_ISCHR(mode):
        return why(errno.ENOTTY, port)
    return why(None if os.access(port, os.R_OK | os.W_OK) else errno.EACCES, port)
