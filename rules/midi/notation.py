"""The written form of notes, controllers, numbers, ranges and messages; one form everywhere, channels 1-16.

Key 60 is middle C (MIDI 1.0 p.10); its octave number is not standardised, so `Naming` carries it (common practice:
C4 or C3). Programs are written from 0 or from 1, the wire always counts from 0.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from rules.errors import NotationError
from rules.midi.controllers import CONTROLLER_NAMES, CONTROLLER_NUMBERS
from rules.midi.kind_names import kind_hint, kind_named
from rules.midi.messages import (
    BEND_CENTRE,
    CHANNEL_PRESSURE,
    CONTROLLER,
    KEY_PRESSURE,
    KIND_OF_STATUS,
    LENGTH,
    MTC,
    NOTE_OFF,
    NOTE_ON,
    OFF_VELOCITY,
    PITCH_BEND,
    PROGRAM,
    SONG_POSITION,
    SONG_SELECT,
    STATUS_OF_KIND,
    SYSEX,
    message_fault,
)
from rules.midi.suggestions import nearest

_LETTERS: Final = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SHARP_NAMES: Final = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_NOTE: Final = re.compile(r"([A-Ga-g])([#b]?)(-?[0-9]{1,2})")
_PITCH: Final = re.compile(r"([A-Ga-g])([#b]?)")
_ACCIDENTALS: Final = {"#": 1, "b": -1, "": 0}
_NUMBER: Final = re.compile(r"[+-]?[0-9]{1,9}")


@dataclass(frozen=True, slots=True)
class Naming:
    """How one rule file counts: the octave of middle C (4 or 3) and the number of the first program (1 or 0)."""

    middle_c: int = 4
    first_program: int = 1


STANDARD: Final = Naming()


def parse_note(text: str, naming: Naming = STANDARD) -> int:
    """The key 0-127 of a note name such as `C4`, `F#2`, `Bb-1`, or of a bare number. Raises NotationError."""
    text = text.strip()
    if _NUMBER.fullmatch(text):
        return _within(int(text), 0, 127, "a key")
    match = _NOTE.fullmatch(text)
    if match is None:
        raise NotationError(f'"{text}" is not a note: write a name such as "C4", "F#2" or "Bb3", or a key 0-127')
    letter, accidental, octave = match.groups()
    semitone = _LETTERS[letter.upper()] + _ACCIDENTALS[accidental]
    key = 60 + 12 * (int(octave) - naming.middle_c) + semitone
    if not 0 <= key <= 127:
        low, high = format_note(0, naming), format_note(127, naming)
        raise NotationError(f'"{text}" is outside the keys of MIDI, {low} to {high}')
    return key


def format_note(key: int, naming: Naming = STANDARD) -> str:
    """The name of a key 0-127, with sharps."""
    return f"{_SHARP_NAMES[key % 12]}{key // 12 - 5 + naming.middle_c}"


def parse_pitch(text: str) -> int:
    """The pitch 0-11, from C up, of a note name without an octave: `C`, `F#`, `Bb`. Raises NotationError."""
    match = _PITCH.fullmatch(text.strip())
    if match is None:
        raise NotationError(f'"{text}" is not a pitch: write a note name without an octave, such as "C", "F#" or "Bb"')
    return (_LETTERS[match[1].upper()] + _ACCIDENTALS[match[2]]) % 12


def format_pitch(pitch: int) -> str:
    """The name of a pitch 0-11, with sharps."""
    return _SHARP_NAMES[pitch]


def parse_controller(text: str) -> int:
    """The number 0-127 of a controller given by name or number. Raises NotationError."""
    word = " ".join(text.replace("-", " ").replace("_", " ").lower().split())
    if _NUMBER.fullmatch(word):
        return _within(int(word), 0, 127, "a controller")
    if word not in CONTROLLER_NUMBERS:
        raise NotationError(
            f'"{text}" is not a controller: write its number 0-127 or its name{nearest(word, CONTROLLER_NUMBERS)}'
        )
    return CONTROLLER_NUMBERS[word]


def format_controller(number: int) -> str:
    """The name of a controller, or its number where MIDI 1.0 gives it none."""
    return CONTROLLER_NAMES.get(number, str(number))


def parse_integer(text: str, low: int, high: int, what: str) -> int:
    """A whole number from `low` to `high`; `what` names it in the error (`a velocity`). Raises NotationError."""
    if not _NUMBER.fullmatch(text):
        raise NotationError(f'"{text}" is not {what}: write a whole number from {low} to {high}')
    return _within(int(text), low, high, what)


def _within(number: int, low: int, high: int, what: str) -> int:
    if not low <= number <= high:
        raise NotationError(f"{number} is not {what}: allowed is {low} to {high}")
    return number


@dataclass(frozen=True, slots=True)
class MessageText:
    """A message as written: complete (`channel` 1-16, or a kind that has none) or for any channel (`channel` None).

    `data` holds the whole message as bytes; its channel nibble is 0 where no channel was written.
    """

    data: bytes
    channel: int | None

    @property
    def has_channel(self) -> bool:
        """Whether this kind of message has a channel at all."""
        return self.data[0] < SYSEX

    def on(self, channel: int) -> bytes:
        """The bytes of the message, on `channel` (1-16) where none was written."""
        if not self.has_channel or self.channel is not None:
            return self.data
        return bytes((self.data[0] | (channel - 1),)) + self.data[1:]

    def words(self, naming: Naming = STANDARD) -> str:
        """The message in words, without a channel where none was written."""
        text = format_message(self.data, naming)
        if not self.has_channel or self.channel is not None:
            return text
        kind, _, rest = text.split(" ", 2)
        return f"{kind} {rest}"

    def moved_to(self, channel: int | None) -> bytes:
        """The bytes of the message on `channel` (1-16), whatever was written; None leaves it."""
        if not self.has_channel or channel is None:
            return self.on(1)
        return bytes((self.data[0] & 0xF0 | (channel - 1),)) + self.data[1:]


def parse_message(text: str, naming: Naming = STANDARD) -> MessageText:
    """Read `note-on 4 C4 100`, `controller sustain 127`, `sysex F0 7D 01 F7` or raw hex. Raises NotationError.

    The channel may be left out; what that means is for the caller to say.
    """
    words = text.split()
    if not words:
        raise NotationError("an empty message: write one such as `note-on 4 C4 100`")
    kind, rest = _kind_of(words), words[1:]
    if kind not in STATUS_OF_KIND:
        return _parse_hex(text, words)
    status = STATUS_OF_KIND[kind]
    if status == SYSEX:
        data = _hex_bytes(text, rest)
        if data[0] != SYSEX:
            raise NotationError(f'"{text}": a sysex message begins with F0 and ends with F7')
        return MessageText(data, None)
    if status > SYSEX:
        return MessageText(bytes((status, *_system_data(kind, status, rest))), None)
    channel, rest = _take_channel(status, rest)
    data = bytes((status | ((channel or 1) - 1), *_channel_data(status, rest, naming)))
    return MessageText(data, channel)


def _kind_of(words: list[str]) -> str:
    """The kind that a message begins with. `CC 05`, a program change in hex, isn't the `cc` of a controller."""
    word = words[0].lower()
    return word if word == "cc" and len(words) == 2 else kind_named(word)


def parse_whole_message(text: str, naming: Naming = STANDARD) -> bytes:
    """The bytes of a message written with its channel. Raises NotationError."""
    message = parse_message(text, naming)
    if message.has_channel and message.channel is None:
        raise NotationError(f'"{text}" has no channel: write it after the kind, as in `note-on 4 C4 100`')
    return message.data


def _parse_hex(text: str, words: list[str]) -> MessageText:
    if not all(re.fullmatch(r"[0-9A-Fa-f]{2}", word) for word in words):
        raise NotationError(
            f'"{words[0]}" is not a kind of message: allowed are {", ".join(STATUS_OF_KIND)}, or bytes '
            f"in hex{kind_hint(words[0].lower(), STATUS_OF_KIND)}"
        )
    data = _hex_bytes(text, words)
    return MessageText(data, (data[0] & 0x0F) + 1 if data[0] < SYSEX else None)


def _hex_bytes(text: str, words: list[str]) -> bytes:
    try:
        data = bytes.fromhex("".join(words))
    except ValueError:
        raise NotationError(f'"{text}": after the kind come bytes in hex, such as F0 7D 01 F7') from None
    if fault := message_fault(data):
        raise NotationError(f'"{text}": {fault}')
    return data


_FORMS: Final = {
    NOTE_OFF: "note-off CHANNEL NOTE VELOCITY",
    NOTE_ON: "note-on CHANNEL NOTE VELOCITY",
    KEY_PRESSURE: "key-pressure CHANNEL NOTE PRESSURE",
    CONTROLLER: "controller CHANNEL CONTROLLER VALUE",
    PROGRAM: "program CHANNEL PROGRAM",
    CHANNEL_PRESSURE: "channel-pressure CHANNEL PRESSURE",
    PITCH_BEND: "pitch-bend CHANNEL -8192..+8191",
}
_WORDS_WITHOUT_CHANNEL: Final = {PROGRAM: 1, CHANNEL_PRESSURE: 1, PITCH_BEND: 1}


def _take_channel(status: int, words: list[str]) -> tuple[int | None, list[str]]:
    """Split the channel off, judging by the number of words whether one was written."""
    if not words:
        raise NotationError(f"too short: write `{_FORMS[status]}`")
    first_is_number = words[0].isdigit()
    if status == NOTE_OFF and len(words) == 2:
        written = first_is_number
    elif status == CONTROLLER:
        written = first_is_number and len(words) > 2
    else:
        written = len(words) > _WORDS_WITHOUT_CHANNEL.get(status, 2)
    if not written:
        return None, words
    return parse_integer(words[0], 1, 16, "a channel"), words[1:]


def _channel_data(status: int, words: list[str], naming: Naming) -> tuple[int, ...]:
    match status, words:
        case 0xB0, [*name, value] if name:
            return parse_controller(" ".join(name)), parse_integer(value, 0, 127, "a value")
        case 0x80, [note]:
            return parse_note(note, naming), OFF_VELOCITY
        case ((0x80 | 0x90), [note, velocity]) if not _NOTE.fullmatch(velocity):
            return parse_note(note, naming), parse_integer(velocity, 0, 127, "a velocity")
        case 0xA0, [note, pressure] if not _NOTE.fullmatch(pressure):
            return parse_note(note, naming), parse_integer(pressure, 0, 127, "a pressure")
        case 0xC0, [program]:
            first = naming.first_program
            return (parse_integer(program, first, first + 127, "a program") - first,)
        case 0xD0, [pressure]:
            return (parse_integer(pressure, 0, 127, "a pressure"),)
        case 0xE0, [bend]:
            raised = parse_integer(bend, -BEND_CENTRE, BEND_CENTRE - 1, "a bend") + BEND_CENTRE
            return raised & 0x7F, raised >> 7
    raise NotationError(
        f"`{KIND_OF_STATUS[status]} {' '.join(words)}` is incomplete or too long: write `{_FORMS[status]}`"
    )


def _system_data(kind: str, status: int, words: list[str]) -> tuple[int, ...]:
    wanted = 1 if status in (MTC, SONG_POSITION, SONG_SELECT) else 0
    if len(words) != wanted:
        raise NotationError(f"`{kind}` has {'one number' if wanted else 'nothing'} after it")
    if status == SONG_POSITION:
        position = parse_integer(words[0], 0, 16383, "a song position")
        return position & 0x7F, position >> 7
    if wanted:
        return (parse_integer(words[0], 0, 127, "a number"),)
    return ()


def in_hex(message: bytes) -> str:
    """Bytes as they are written: `90 3C 64`."""
    return message.hex(" ").upper()


def format_message(message: bytes, naming: Naming = STANDARD) -> str:
    """A message in words; what `parse_message` reads gives the same bytes back. Odd bytes are printed in hex."""
    if message_fault(message):
        return in_hex(message)
    status = message[0]
    if status >= SYSEX:
        return _format_system(message)
    kind, channel = KIND_OF_STATUS[status & 0xF0], (status & 0x0F) + 1
    head = f"{kind} {channel}"
    match status & 0xF0:
        case 0x80 | 0x90 | 0xA0:
            return f"{head} {format_note(message[1], naming)} {message[2]}"
        case 0xB0:
            return f"{head} {format_controller(message[1])} {message[2]}"
        case 0xC0:
            return f"{head} {message[1] + naming.first_program}"
        case 0xD0:
            return f"{head} {message[1]}"
        case _:
            return f"{head} {(message[2] << 7 | message[1]) - BEND_CENTRE:+d}"


def _format_system(message: bytes) -> str:
    status = message[0]
    kind = KIND_OF_STATUS[status]
    if status == SYSEX:
        return f"sysex {in_hex(message)}"
    if status == SONG_POSITION:
        return f"{kind} {message[2] << 7 | message[1]}"
    return f"{kind} {message[1]}" if LENGTH[status] == 2 else kind
