"""What a player does to turn a switch, in words."""

from __future__ import annotations

from rules.midi.notation import Naming, format_controller, format_note
from rules.rulefile.switch_tables import Trigger


def press_words(trigger: Trigger, naming: Naming) -> str:
    """Return what a player does to pull a trigger, as in `note C4 of pads, held 600 ms`."""
    if trigger.note is not None:
        what = f"note {format_note(trigger.note, naming)}"
    elif trigger.controller is not None:
        what = format_controller(trigger.controller)
        what = f"controller {what}" if what.isdigit() else what
    elif trigger.program is not None:
        what = f"program {trigger.program + naming.first_program}"
    else:
        what = trigger.kind or ""
    held = "" if trigger.long is None else f", held {trigger.long} ms"
    return f"{what} of {trigger.source}{held}"
