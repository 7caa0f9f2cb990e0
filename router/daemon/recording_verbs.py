"""What can be asked of the recorder over the control socket."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from router.files.file_names import is_midi_name
from router.recording.recorder import Recorder
from rules.errors import MachineError


def recorder_handlers(recorder: Recorder) -> dict[str, Callable[[dict[str, Any]], dict[str, Any]]]:
    """Return what can be asked, by verb.

    `last` {"seconds": n} gives {"journal": bytes}, without `seconds` all that is known. `record` {"path": name} begins
    a recording, without `path` it tells how that stands; `record-stop` ends it.
    """

    def last(asked: dict[str, Any]) -> dict[str, Any]:
        seconds = asked.get("seconds")
        return {"journal": recorder.everything() if seconds is None else recorder.last(float(seconds))}

    def record(asked: dict[str, Any]) -> dict[str, Any]:
        if "path" in asked:
            target = Path(str(asked["path"]))
            if not target.is_absolute() or not is_midi_name(target.name):
                raise MachineError(f'record: "{target}" isn\'t the full path of a .mid file')
            recorder.start_recording(target)
        return recorder.state

    def stop(_: dict[str, Any]) -> dict[str, Any]:
        journal, lost = recorder.stop_recording()
        return {"journal": str(journal), "lost": lost}

    return {"last": last, "record": record, "record-stop": stop}
