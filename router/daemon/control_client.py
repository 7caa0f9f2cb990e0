"""The other end of the control socket: what a command asks of the running daemon."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Any

from router.daemon.control_answers import LONGEST_ANSWER_LINE, AnswerReader
from router.daemon.control_socket import TooLongError, connected, is_alive, line_of, lines_from, socket_path
from router.daemon.run_settings import STANDARD_NAME
from router.daemon.runtime_folder import runtime_folder, valid_name
from router.text.formatting import why
from rules.errors import MachineError


def ask_daemon(name: str, verb: str, /, patience_s: float = 10.0, **arguments: Any) -> dict[str, Any]:
    """Ask the running daemon `name` and return its answer; values of type bytes come back as bytes.

    `patience_s` is how many seconds each part of the answer may take. Raises MachineError if no such daemon runs, or
    doesn't answer in time, or says that it can't; UsageError for what can't be a name.
    """
    path = socket_path(valid_name(name))
    reader = AnswerReader()
    try:
        with connected(path, patience_s) as daemon:
            with suppress(BrokenPipeError):  # it has answered already, that it can't: the reason waits to be read
                daemon.sendall(line_of({"verb": verb, **arguments}))
            for line in lines_from(daemon, LONGEST_ANSWER_LINE, patience_s):
                answer = reader.take(line)
                if answer is not None:
                    return answer
    except (FileNotFoundError, ConnectionRefusedError):
        raise MachineError(_nobody(name, path)) from None
    except TimeoutError:
        raise MachineError(f'the daemon "{name}" didn\'t answer within {patience_s:g} s') from None
    except (OSError, ValueError, TooLongError) as error:
        reason = why(error) if isinstance(error, OSError) else "it isn't in the words of this version of Pointsman"
        raise MachineError(f'the answer of the daemon "{name}" can\'t be read: {reason}') from error
    raise MachineError(f'the daemon "{name}" broke off its answer: look at `pointsman status`')


class DaemonConversation:
    """A connection to the daemon `name` that stays, for questions of one verb that belong together.

    Raises MachineError as `ask_daemon` does.
    """

    def __init__(self, name: str, verb: str, patience_s: float = 10.0) -> None:
        self._name = name
        self._verb = verb
        self._patience_s = patience_s
        path = socket_path(valid_name(name))
        try:
            self._daemon = connected(path, patience_s)
        except (FileNotFoundError, ConnectionRefusedError):
            raise MachineError(_nobody(name, path)) from None
        except OSError as error:
            raise MachineError(f'the daemon "{name}" can\'t be reached: {why(error)}') from error
        self._lines = lines_from(self._daemon, LONGEST_ANSWER_LINE, patience_s)

    def ask(self, **arguments: Any) -> dict[str, Any]:
        """Ask, and return the answer."""
        reader = AnswerReader()
        try:
            self._daemon.sendall(line_of({"verb": self._verb, **arguments}))
            for line in self._lines:
                answer = reader.take(line)
                if answer is not None:
                    return answer
        except TimeoutError:
            raise MachineError(f'the daemon "{self._name}" didn\'t answer within {self._patience_s:g} s') from None
        except (OSError, ValueError, TooLongError):
            pass
        raise MachineError(f'the daemon "{self._name}" has ended')

    def close(self) -> None:
        """Leave: the daemon ends what belongs to the conversation."""
        self._daemon.close()


def absence(name: str) -> str | None:
    """Return in words that there is no daemon `name`, and how to begin one; None where one runs.

    Raises UsageError for what can't be a name, MachineError where no daemon can be reached.
    """
    path = socket_path(valid_name(name))
    return None if is_alive(path) else _nobody(name, path)


def running_daemons() -> list[str]:
    """Return the names of the daemons that this user has running. Raises MachineError."""
    return [path.stem for path in sorted(runtime_folder().glob("*.sock")) if is_alive(path)]


def _nobody(name: str, path: Path) -> str:
    others = [other for other in running_daemons() if other != path.stem]
    also = f", but --name {', --name '.join(others)}" if others else ""
    return f'there is no daemon named "{name}"{also}: {how_to_begin(name)}'


def how_to_begin(name: str) -> str:
    """Return in words how to begin the daemon `name`."""
    return f"begin with pointsman run RULES{'' if name == STANDARD_NAME else f' --name {name}'}"
