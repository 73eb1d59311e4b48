"""Whether there is a screen to open a window on; Qt itself ends the process where there is none."""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Callable, Mapping

from app.errors import DeviceError

NEEDS_NO_SCREEN = ("offscreen", "minimal", "vnc", "linuxfb", "eglfs")

INSTEAD = "`tipwright demo` and the other commands work without a window."


def check_screen(
    environ: Mapping[str, str],
    *,
    platform: str = sys.platform,
    opens: Callable[[], bool] | None = None,
) -> None:
    """Raise a sentence where no window can be opened.

    Parameters
    ----------
    environ
        The environment: QT_QPA_PLATFORM, WAYLAND_DISPLAY, DISPLAY.
    platform
        As `sys.platform`; only Linux and its kin need the check.
    opens
        Says whether the X server of DISPLAY answers; by default it is asked.

    Raises
    ------
    DeviceError
        When there is no screen, or it does not answer.
    """
    if platform.startswith("win") or platform == "darwin":
        return
    plugin = environ.get("QT_QPA_PLATFORM", "").split(";")[0].split(":")[0]
    if plugin in NEEDS_NO_SCREEN:
        return
    if plugin in ("", "wayland") and environ.get("WAYLAND_DISPLAY"):
        return
    display = environ.get("DISPLAY", "")
    if not display:
        raise DeviceError(
            "There is no screen to open the window on (DISPLAY is not set). Start Tipwright from "
            f"a desktop. {INSTEAD}",
            code="no-screen",
        )
    if not (opens or x_server_answers)():
        raise DeviceError(
            f"The screen {display} does not answer, so the window cannot be opened. Start "
            f"Tipwright from a desktop. {INSTEAD}",
            code="no-screen",
            value=display,
        )


def x_server_answers() -> bool:
    """Return whether the X server of DISPLAY lets us in; True where that cannot be asked."""
    try:
        x11 = ctypes.CDLL("libX11.so.6")
    except OSError:
        return True
    x11.XOpenDisplay.restype = ctypes.c_void_p
    connection = x11.XOpenDisplay(None)
    if not connection:
        return False
    x11.XCloseDisplay.argtypes = (ctypes.c_void_p,)
    x11.XCloseDisplay(connection)
    return True
