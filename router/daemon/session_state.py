"""How a session stands, as the plain values that `status` and those who watch are told."""

from __future__ import annotations

from typing import Any

from rules.engine.held import sounding_notes
from rules.engine.session import Session
from rules.midi.sounding_notes import SoundingNote
from rules.rulefile.song_tables import SONG


def musical_state(session: Session, now: int) -> dict[str, Any]:
    """What a player changes by playing."""
    return {"switches": session.switches, "songs": _songs(session), "clock": clock_state(session, now)}


def clock_state(session: Session, now: int) -> dict[str, Any]:
    """How the clock is that counts; `take` says whether it is that of a take, which plays as the input `from`."""
    clock = session.clockwork.state(now)
    return {
        "from": clock.source,
        "take": clock.player in session.takes.values(),
        "bpm": round(clock.bpm, 2),
        "running": clock.will_run,
        "beats": clock.beats,
        "beats_a_bar": session.ruleset.clock.beats_a_bar,
    }


def notes_at_ports(session: Session, now: int) -> list[SoundingNote]:
    """The notes that sound at ports."""
    notes = [note for note in sounding_notes(session.engine.bookkeeping) if note.is_out]
    return [(note.target, note.message[0] & 0x0F, note.message[1], now) for note in notes]


def _songs(session: Session) -> dict[str, Any] | None:
    """The songs in order, and which one it is, counted from 0; None where the rules have none."""
    names = [song.name for song in session.ruleset.songs]
    if not names:
        return None
    return {
        "names": names,
        "at": names.index(str(session.switches[SONG])),
        "wrap": session.engine.layout.fields[SONG].wrap,
    }
