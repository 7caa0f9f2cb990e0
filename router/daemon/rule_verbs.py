"""What can be asked of the reloader over the control socket."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from router.daemon.reloader import Reloader, ReloadOutcome
from rules.errors import MachineError


def reloader_handlers(reloader: Reloader) -> dict[str, Callable[[dict[str, Any]], dict[str, Any]]]:
    """Return what can be asked, by verb.

    `reload` reads the files now. `former-rules` plays the rules before those in force again, until a file changes.
    Both tell {"outcome": "applied", "words": [...]}. `rule-files` {"which": "playing"} gives {"serial": 3, "files":
    ["stage.toml"], "file 0": bytes}; with "found" the files are those that were judged last, used or not.
    """

    def told(outcome: ReloadOutcome) -> dict[str, Any]:
        return {"outcome": outcome.kind, "words": list(outcome.words)}

    def files(asked: dict[str, Any]) -> dict[str, Any]:
        serial, texts = reloader.serial, reloader.prepared.texts
        if asked.get("which") == "found":
            found = reloader.found
            if isinstance(found, str):
                raise MachineError(found)
            texts = found
        held = {f"file {number}": content for number, (_, content) in enumerate(texts)}
        return {"serial": serial, "files": [name for name, _ in texts], **held}

    return {
        "reload": lambda _: told(reloader.reload_now()),
        "former-rules": lambda _: told(reloader.go_back()),
        "rule-files": files,
    }


def reload_state(reloader: Reloader) -> dict[str, Any]:
    """Return how the last reload ended and what came of it, for a watcher.

    `going_back` says that the former rules play though the files hold others.
    """
    last, found = reloader.last, reloader.found
    return {
        "serial": reloader.serial,
        "at": reloader.last_at,
        "outcome": last.kind,
        "refused": last.refused,
        "words": list(last.words),
        "problems": [problem._asdict() for problem in last.problems],
        "differences": list(reloader.differences),
        "has_former": reloader.former is not None,
        "going_back": last.kind == "applied" and found != reloader.prepared.texts,
    }
