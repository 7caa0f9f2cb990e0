"""Takes that play one after the other, from the command line to the link.

What each of them came to is told at the end, in lines or as data (see `played_takes`).
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final, NamedTuple

from router.batch.search import FoundFile, find_files
from router.cli.play_screen import PlayScreen
from router.cli.take_feeder import Link, Played, TakeFeeder
from router.daemon.run_settings import STANDARD_NAME
from router.daemon.take_player import END
from router.files.clock import Clock
from router.files.takes import read_take
from router.text.formatting import count, plain
from router.text.terminal import complain, problem, say
from router.text.usage import UsageError
from rules.errors import MachineError, MidiFileError
from rules.midi.suggestions import nearest, those_known
from rules.playback.take_stream import Part, PlayableTake, loop_part
from rules.smf.midi_file import read
from rules.smf.report import Playing
from rules.smf.track_sources import missing_tracks, track_sources

_MOST_TAKES: Final = 10_000


class PlaySettings(NamedTuple):
    """What `play` plays: `takes` as written, as the input `source` (None: the only one), single `tracks` as others.

    `bars` are the first and last bar of the loop, None for all of them. With `rules` it plays without a daemon.
    """

    takes: tuple[str, ...]
    source: str | None = None
    tracks: tuple[str, ...] = ()
    by_clock: bool = False
    from_bar: int | None = None
    loops: bool = False
    bars: tuple[int, int] | None = None
    waits: bool = False
    sends_clock: bool = True
    rules: tuple[str, ...] = ()
    name: str = STANDARD_NAME
    backend: str | None = None
    json: bool = False


def found_takes(arguments: Sequence[str]) -> list[Path]:
    """Return the files that arguments mean, folders by name. Raises MachineError or UsageError."""
    found: list[Path] = []
    for item in find_files(arguments):
        if isinstance(item, FoundFile):
            found.append(item.path)
        elif reason := getattr(item, "reason", ""):
            raise MachineError(f"{plain(str(item.path))}: {reason}")
        if len(found) > _MOST_TAKES:
            raise UsageError(f"these are more than {_MOST_TAKES:,} recordings: name fewer")
    return found


def require_playable(settings: PlaySettings, files: Sequence[Path], inputs: Sequence[str]) -> None:
    """Refuse what rules with these inputs can't play, before anything is opened. Raises UsageError or MachineError.

    Of several takes, those that can't be played are found when their turn comes.
    """
    playing = _playing_for(settings, inputs)
    if len(files) == 1:
        _prepared(settings, files[0], playing, is_only=True)


class TakeSession:
    """Plays takes one after the other over a link. `is_whole` says whether each of them could be played."""

    def __init__(self, settings: PlaySettings, files: Sequence[Path], link: Link, clock: Clock) -> None:
        self._settings = settings
        self._files = files
        self._link = link
        self._screen = PlayScreen(clock)
        self._feeder = TakeFeeder(link, self._screen.look, clock)
        self._told: list[dict[str, Any]] = []
        self.is_whole = True

    def play_all(self) -> None:
        """Play every take, or until an order ends it. Raises UsageError or MachineError.

        Where there are several, one that can't be played is named, and the next one follows.
        """
        playing = _playing_for(self._settings, list(self._link.ask()["inputs"]))
        is_only = len(self._files) == 1
        for number, path in enumerate(self._files, 1):
            try:
                names, take, part = _prepared(self._settings, path, playing, is_only=is_only)
            except MachineError as error:
                if is_only:
                    raise
                self._screen.leave()
                complain([problem(str(error))])
                self.is_whole = False
                continue
            if not self._play(path, take, part, names, has_next=number < len(self._files)):
                return

    def _play(self, path: Path, take: PlayableTake, part: Part, names: list[str], *, has_next: bool) -> bool:
        """Play one take; return whether the next one follows."""
        self._screen.begin(path, take, waits=self._settings.waits, has_next=has_next)
        self._feeder.begin(str(path), take.seconds, names, by_clock=take.by_clock)
        if self._settings.waits and self._feeder.wait() == END:
            return False
        self._screen.go_on()
        told = {"file": str(path), "as": names, "seconds": 0.0, "messages": 0, "nowhere": 0}
        self._told.append(told)
        try:
            played = self._feeder.play(take, part)
        except (KeyboardInterrupt, Exception):  # Ctrl-C, the loop of this process that ends by it, or a mistake of ours
            told.update(self._screen.last)
            raise
        told.update(_data(played))
        if take.messages.faulty and not self._settings.json:
            self._screen.leave()
            complain([f"{plain(str(path))}: {count(take.messages.faulty, 'event')} can't be sent to a port"])
        return played.order != END

    def leave(self) -> None:
        """Give the terminal back."""
        self._screen.leave()

    def tell(self) -> None:
        """Print what was played."""
        if self._settings.json:
            say([json.dumps({"command": "play", "ok": self.is_whole, "takes": self._told}, indent=2)])
            return
        for told in self._told:
            played = f"{count(told['messages'], 'message')} played as {plain(told['as'][0])}"
            nowhere = f"; {count(told['nowhere'], 'message')} matched no rule" if told["nowhere"] else ""
            say([f"{plain(told['file'])}: {played}{nowhere}"])


def _prepared(
    settings: PlaySettings, path: Path, playing: Playing, *, is_only: bool
) -> tuple[list[str], PlayableTake, Part]:
    """Return what a take plays as, the take, and which part of it. Raises UsageError or MachineError."""
    names = list(dict.fromkeys((playing.default, *playing.tracks.values())))
    with _about(path):
        file = read(read_take(str(path)))
        missing = missing_tracks(file, playing)
        if missing and is_only:
            from router.cli.source_arguments import tracks_in_words  # it knows all rules, and is seldom needed

            there = f"write one of {tracks_in_words(file)}"
            raise UsageError(f'--track: {plain(str(path))} has no track "{plain(missing[0])}": {there}')
        sources = track_sources(file, playing, names)
        take = PlayableTake(file, sources, by_clock=settings.by_clock, sends_clock=settings.sends_clock)
        return names, take, loop_part(take, settings.from_bar, settings.bars, loops=settings.loops)


def _data(played: Played) -> dict[str, Any]:
    return {"seconds": round(played.seconds, 1), "messages": played.messages, "nowhere": played.nowhere}


def _playing_for(settings: PlaySettings, inputs: Sequence[str]) -> Playing:
    """Return which input plays each track. Raises UsageError."""
    if settings.source is None and len(inputs) != 1:
        raise UsageError(
            f"a recording can play as several inputs. Choose one: {', '.join(f'--as {name}' for name in inputs)}"
            if inputs
            else "the rules have no input for a recording to play as"
        )
    default = _known(settings.source, inputs, "--as") if settings.source is not None else inputs[0]
    tracks: dict[str, str] = {}
    for text in settings.tracks:
        track, named, source = text.rpartition("=")
        if not named or not track.strip():
            raise UsageError(f'--track "{plain(text)}": write it as in --track "Track name=SOURCE" or "#2=SOURCE"')
        tracks[track.strip()] = _known(source.strip(), inputs, "--track")
    return Playing(default, tracks)


def _known(source: str, inputs: Sequence[str], option: str) -> str:
    if source not in inputs:
        known = plain(those_known("input", "inputs", inputs))
        raise UsageError(f'{option}: there is no input port named "{plain(source)}": {known}{nearest(source, inputs)}')
    return source


@contextmanager
def _about(path: Path) -> Iterator[None]:
    """Let what is wrong with a take name the file."""
    try:
        yield
    except (MidiFileError, ValueError) as error:
        raise MachineError(f"{plain(str(path))}: {error}") from error
