"""The folder where a user's daemons can be reached: the user's own, and closed to everybody else.

It lies in the runtime folder of the login (XDG Base Directory Specification 0.8, XDG_RUNTIME_DIR). Where that is not
told, as in a job of cron, it is looked for where systemd puts it (pam_systemd(8): /run/user/UID), and made in the
folder for temporary files otherwise.
"""

from __future__ import annotations

import os
import re
import stat
from pathlib import Path
from typing import Final

from router.text.formatting import plain, why
from router.text.usage import UsageError
from rules.errors import MachineError

FOLDER: Final = "pointsman"
LOGINS: Final = Path("/run/user")
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,31}")
_OTHERS_CAN_WRITE: Final = stat.S_IWGRP | stat.S_IWOTH


def valid_name(name: str) -> str:
    """Return `name` if a daemon can have it: 1 to 32 letters, digits, - and _. Raises UsageError."""
    if _NAME.fullmatch(name):
        return name
    raise UsageError(
        f'--name "{plain(name)}": a daemon\'s name is 1 to 32 letters, digits, "-" and "_", and begins with a letter '
        "or a digit"
    )


def runtime_folder() -> Path:
    """Return the folder of our sockets, made if it is missing.

    Raises MachineError if it can't be made, or if another user could reach into it.
    """
    login = _login_folder()
    folder = login / FOLDER if login else _temporary_folder() / f"{FOLDER}-{os.getuid()}"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        state = folder.lstat()
    except FileExistsError:
        raise MachineError(f"{folder} must be a folder: move what is there, and try again") from None
    except OSError as error:
        raise MachineError(f"{folder}: the folder for the control socket can't be made: {why(error)}") from error
    if not stat.S_ISDIR(state.st_mode) or state.st_uid != os.getuid() or stat.S_IMODE(state.st_mode) & 0o077:
        raise MachineError(
            f"{folder}: other users could reach the control socket there. Make it a folder of your own with mode 0700 "
            "(no link), or set XDG_RUNTIME_DIR to a folder that only you can enter"
        )
    return folder


def _temporary_folder() -> Path:
    import tempfile  # seldom needed: most logins have a folder

    return Path(tempfile.gettempdir())


def _login_folder() -> Path | None:
    told = os.environ.get("XDG_RUNTIME_DIR", "")
    candidates = [Path(told)] if told else []
    candidates.append(LOGINS / str(os.getuid()))
    return next((path for path in candidates if path.is_absolute() and _is_private(path)), None)


def _is_private(path: Path) -> bool:
    """Return whether a folder is this user's alone to write to. It may be another's after `su`."""
    try:
        state = path.stat()
    except OSError:
        return False
    return stat.S_ISDIR(state.st_mode) and state.st_uid == os.getuid() and not state.st_mode & _OTHERS_CAN_WRITE
