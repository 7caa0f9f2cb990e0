#!/usr/bin/env python3
"""Makes examples/recording.mid, the recording that the demo and the examples work on: the same bytes every time.

A village theatre's pit duo plays a waltz for a puppet show: a pianist at a stage piano with its keyboard split in
zones, a percussionist at a pad board who also has a small keyboard. Two old sound modules, a reed box and a bell box,
belong to the rig, and both listen on channel 3 only. At the dress rehearsal nobody looked at the channels, so nothing
that was recorded for the modules sits on channel 3.

What is in the file (format 1, 480 ticks a quarter, 3/4, D minor, 104 bars, 145 seconds, nearly 7,000 events; middle C,
key 60, is C4):

    track  name          channel  notes  keys   what it is
    1      Rehearsal                            a GM reset (sysex), tempo changes, markers, cues, time and key signature
    2      Marionette    11       356    65-89  the tune, meant for the reed box; bends, modulation, RPN bend range of 2
    3      Second voice  12       104    69-79  long notes, meant for the bell box; bank select, channel pressure
    4      Stage piano   1        624    55-67  chords; sustain pedal with half-pedal values, soft pedal in the garden
    5      Left hand     2        104    41-50  bass notes from the stage piano's lower zone
    6      Pad board     10      1114           the drums, on General MIDI keys 36, 38, 42, 46, 49, 54 and 76
    7      Narrator                             lyrics only; one of them has a letter outside ASCII (Latin-1)

- Sections, each opened by a marker: Curtain (bar 1), The puppets wake (5), A second look (21), In the garden (37), The
  puppets dance (53), Tangled strings (69), Unravelled (85), Bow (101).
- Velocities are uneven, no note falls exactly on the beat, and legato notes of the tune overlap a little.
- The stage piano ends its notes with note-ons of velocity 0 (so running status carries on), the small keyboard with
  note-offs of uneven release velocity, the pads with note-offs of velocity 64.
- In bar 21 a bouncing key sends its note-on of F5 twice, and its note-off twice.
- The recorder was stopped before the last crash cymbal (key 49 on channel 10) was let go: that note never ends.
- The last four bars before the bow slow down from beat to beat.
"""

from __future__ import annotations

import sys
from pathlib import Path

QUARTER = 480
EIGHTH = QUARTER // 2
BAR = 3 * QUARTER
REED, BELL, PIANO, LEFT, PADS = 11, 12, 1, 2, 10
DEFAULT = Path(__file__).resolve().parents[2] / "examples/recording.mid"

# Key and length in eighths; a bar each, "-" is a rest.
TUNE = """
    A4.1 D5.1 F5.2 E5.1 D5.1 | A5.3 G5.1 F5.2 | Bb5.2 A5.1 G5.1 D5.2 | E5.1 F5.1 G5.1 F5.1 E5.2
    A4.1 D5.1 F5.2 A5.2 | D6.3 C6.1 Bb5.2 | A5.2 C#5.2 E5.2 | D5.4 -.2
    G5.1 A5.1 Bb5.2 D6.2 | C6.3 Bb5.1 A5.1 G5.1 | A5.2 C6.2 F5.2 | D5.2 F5.2 Bb5.2
    A5.1 G5.1 F5.1 E5.1 D5.2 | C#5.2 E5.1 G5.1 F5.1 E5.1 | D5.3 A4.1 F4.2 | D5.5 -.1
"""
TUNE_CHORDS = "Dm Dm Gm A7 Dm Bb A7 Dm Gm C7 F Bb Gm A7 Dm Dm"
GARDEN = """
    C5.2 F5.4 | G5.2 E5.4 | A5.3 G5.1 F5.2 | C6.6 | D6.2 Bb5.4 | C6.2 A5.4 | B5.2 A5.2 G5.2 | G5.4 -.2
    C5.2 F5.4 | Bb5.2 G5.4 | A5.2 C6.2 F6.2 | E6.4 C#6.2 | D6.3 C6.1 A5.2 | Bb5.2 G5.2 D5.2
    E5.2 F5.1 E5.1 C#5.2 | A5.6
"""
GARDEN_CHORDS = "F C7 F F Bb F G7 C7 F C7 F A7 Dm Gm A7 A7"
TANGLE = """
    D5.1 F5.1 A5.1 D6.1 A5.1 F5.1 | E5.1 F5.1 A5.1 C#6.1 A5.1 F5.1 | D5.1 F5.1 Bb5.1 D6.1 Bb5.1 F5.1
    C#5.1 D5.1 Bb5.1 D6.1 C#6.1 D6.1 | G5.1 Bb5.1 D6.1 Bb5.1 G5.1 D5.1 | F#5.1 G5.1 D6.1 C#6.1 D6.1 Bb5.1
    A5.1 G5.1 E5.1 C#5.1 E5.1 G5.1 | A5.1 Bb5.1 A5.1 G#5.1 A5.1 -.1
"""
TANGLE_CHORDS = "Dm Dm Bb Bb Gm Gm A7 A7"
CHORDS = {
    "Dm": "D3 A3 D4 F4", "Gm": "G2 Bb3 D4 G4", "A7": "A2 G3 C#4 E4", "Bb": "Bb2 Bb3 D4 F4", "C7": "C3 Bb3 C4 E4",
    "F": "F2 A3 C4 F4", "G7": "G2 B3 D4 F4",
}  # fmt: skip
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SECTIONS = [  # name, tune, chords, beats a minute, loudness added
    ("Curtain", "-.6 | -.6 | -.6 | -.6", "Dm Gm A7 Dm", 120, -14),
    ("The puppets wake", TUNE, TUNE_CHORDS, 132, 0),
    ("A second look", TUNE.replace("A4.1 D5.1 F5.2 E5.1 D5.1", "F5.2 A5.2 E5.2", 1), TUNE_CHORDS, 134, 6),
    ("In the garden", GARDEN, GARDEN_CHORDS, 116, -10),
    ("The puppets dance", TUNE, TUNE_CHORDS, 138, 10),
    ("Tangled strings", f"{TANGLE}|{TANGLE}", f"{TANGLE_CHORDS} {TANGLE_CHORDS}", 152, 14),
    ("Unravelled", TUNE, TUNE_CHORDS, 130, 2),
    ("Bow", "D5.6 | A5.6 | D6.6 | -.6", "Dm A7 Dm Dm", 104, -4),
]
LYRICS = {
    1: "Hush",
    5: "Up he gets,",
    7: "one leg, two,",
    9: "and bows",
    21: "once more for grand-m\xe8re",
    37: "A gar-",
    38: "den",
    53: "They dance",
    69: "Oh! the strings",
    85: "There,",
    87: "all is well",
    101: "Good night",
}


class Chance:
    """A small generator of our own, so that the numbers are the same on every machine and Python."""

    def __init__(self, seed: int) -> None:
        self.state = seed

    def below(self, limit: int) -> int:
        self.state = (self.state * 6364136223846793005 + 1442695040888963407) % 2**64
        return (self.state >> 33) % limit

    def around(self, centre: int, spread: int) -> int:
        """A number within `spread` of `centre`, near it more often than far."""
        return centre + self.below(spread + 1) - self.below(spread + 1)


class Track:
    """The events of one track in any order, and how a recorder writes them down."""

    def __init__(self, name: str, channel: int = 1) -> None:
        self.events: list[tuple[int, int, bytes]] = []
        self.channel = channel
        self.meta(0, 3, name)

    def meta(self, tick: int, kind: int, content: str | bytes) -> None:
        data = content.encode("latin-1") if isinstance(content, str) else content
        self.events.append((tick, 0, bytes([0xFF, kind]) + quantity(len(data)) + data))

    def sysex(self, tick: int, after_f0: bytes) -> None:
        self.events.append((tick, 0, b"\xf0" + quantity(len(after_f0)) + after_f0))

    def send(self, tick: int, status: int, *data: int, rank: int = 2) -> None:
        self.events.append((max(tick, 0), rank, bytes([status | self.channel - 1, *data])))

    def controller(self, tick: int, number: int, value: int) -> None:
        self.send(tick, 0xB0, number, value)

    def bend(self, tick: int, value: int) -> None:
        self.send(tick, 0xE0, value + 8192 & 0x7F, value + 8192 >> 7)

    def note(self, tick: int, length: int, key: int, velocity: int, release: int = 0) -> None:
        """A note; `release` 0 ends it with a note-on of velocity 0. Ends go before new notes of the same tick."""
        self.send(tick, 0x90, key, min(max(velocity, 1), 127))
        self.send(max(tick, 0) + length, 0x80 if release else 0x90, key, release, rank=1)

    def chunk(self, end: int) -> bytes:
        """The track as it stands in the file, with running status wherever the standard allows it."""
        self.events.sort(key=lambda event: event[:2])
        body, now, running = bytearray(), 0, 0
        for tick, _, message in self.events:
            body += quantity(tick - now)
            body += message[1:] if message[0] == running else message
            running = message[0] if message[0] < 0xF0 else 0
            now = tick
        body += quantity(end - now) + b"\xff\x2f\x00"
        return b"MTrk" + len(body).to_bytes(4, "big") + body


def quantity(number: int) -> bytes:
    """A variable-length quantity."""
    groups = [number & 0x7F]
    while number := number >> 7:
        groups.insert(0, number & 0x7F | 0x80)
    return bytes(groups)


def key_number(name: str) -> int:
    """C4 is 60."""
    sharp = {"#": 1, "b": -1}.get(name[1], 0)
    return 12 * (int(name[-1]) + 1) + SEMITONES[name[0]] + sharp


def melody(text: str) -> list[tuple[int, int, int]]:
    """The notes of a tune: tick from its start, length in ticks, key."""
    notes, tick = [], 0
    for token in text.replace("|", " ").split():
        name, length = token.split(".")
        if name != "-":
            notes.append((tick, int(length) * EIGHTH, key_number(name)))
        tick += int(length) * EIGHTH
    return notes


def play_tune(track: Track, start: int, text: str, louder: int, chance: Chance) -> None:
    notes = melody(text)
    for place, (tick, length, key) in enumerate(notes):
        at = chance.around(start + tick, 11)
        repeated = place + 1 < len(notes) and notes[place + 1][2] == key
        held = length * 4 // 5 if repeated else chance.around(length, 26)
        track.note(at, held, key, chance.around(84 + louder + (9 if tick % BAR == 0 else 0), 13))
        if length >= 4 * EIGHTH:
            shake(track, at + EIGHTH, length - EIGHTH, chance)
        elif tick % BAR == 0 and length >= 2 * EIGHTH and chance.below(3) == 0:
            scoop(track, at, chance)


def scoop(track: Track, at: int, chance: Chance) -> None:
    """The bend wheel slides up into a note."""
    depth = chance.around(1700, 600)
    for step in range(8):
        track.bend(at - 20 + 14 * step, -depth * (7 - step) // 7 if step < 7 else 0)


def shake(track: Track, at: int, length: int, chance: Chance) -> None:
    """The modulation wheel comes up on a long note and goes back to rest."""
    top, steps = chance.around(58, 18), 10
    for step in range(steps + 1):
        away = abs(2 * step - steps)
        track.controller(at + length * step // (steps + 1), 1, top * (steps - away) // steps)


def play_second_voice(track: Track, start: int, keys: list[int], louder: int, chance: Chance) -> None:
    """A long note of the chord, in the octave from A4 on, with a swell of pressure."""
    key = 69 + (keys[1 + chance.below(3)] - 69) % 12
    at = chance.around(start + 8, 12)
    track.note(at, BAR - 60, key, chance.around(70 + louder, 12), release=chance.around(60, 25))
    top = chance.around(70, 22)
    for step in range(9):
        track.send(at + 90 + 140 * step, 0xD0, top * (4 - abs(4 - step)) // 4)


def play_piano(track: Track, start: int, keys: list[int], louder: int, chance: Chance) -> None:
    for beat in (1, 2):
        at = chance.around(start + beat * QUARTER, 9)
        for key in keys[1:]:
            track.note(chance.around(at, 5), chance.around(250, 40), key, chance.around(62 + louder, 12))
    for tick, value in ((70, 24), (84, 71), (97, 113), (111, 127), (1270, 96), (1288, 66), (1303, 41), (1320, 0)):
        track.controller(chance.around(start + tick, 5), 64, value)


def play_drums(track: Track, start: int, section: str, bar: int, louder: int, chance: Chance) -> None:
    tangled = section == "Tangled strings"
    hits = [(0, 36, 92), (QUARTER, 38, 58), (2 * QUARTER, 38, 64)]
    hits += [(eighth * EIGHTH, 42, 52 + 14 * (eighth % 2 == 0)) for eighth in range(6)]
    hits += [(2 * QUARTER + EIGHTH, 46, 66)] if bar % 4 == 3 else []
    hits += [(eighth * EIGHTH, 54, 60) for eighth in (1, 3, 5)] if tangled or section == "The puppets dance" else []
    hits += [(quarter * QUARTER, 76, 70) for quarter in range(3)] if section == "In the garden" else []
    hits += [(0, 49, 100)] if bar == 0 and section != "Curtain" else []
    for tick, key, velocity in hits:
        track.note(chance.around(start + tick, 8), chance.around(70, 20), key, chance.around(velocity + louder, 14), 64)


def set_sounds(reed: Track, bell: Track, piano: Track, left: Track) -> None:
    """What the players chose before they began: programs, volumes, places."""
    for number, value in ((101, 0), (100, 0), (6, 2), (38, 0)):
        reed.controller(20, number, value)
    for number, value in ((0, 0), (32, 1)):
        bell.controller(20, number, value)
    for track, program, volume, pan in (
        (reed, 71, 104, 52),
        (bell, 10, 92, 80),
        (piano, 0, 100, 64),
        (left, 32, 98, 58),
    ):
        track.send(24, 0xC0, program)
        track.controller(28, 7, volume)
        track.controller(30, 10, pan)


def set_tempo(track: Track, tick: int, beats_a_minute: int) -> None:
    track.meta(tick, 0x51, (60_000_000 // beats_a_minute).to_bytes(3, "big"))


def play_section(tracks: list[Track], start: int, section: tuple[str, str, str, int, int], chance: Chance) -> int:
    """Play one section on all tracks and return the tick at which it ends."""
    conductor, reed, bell, piano, left, pads = tracks
    name, tune, chords, beats_a_minute, louder = section
    conductor.meta(start, 6, name)
    play_tune(reed, start, tune, louder, chance)
    bars = chords.split()
    for bar, chord in enumerate(bars):
        at = start + bar * BAR
        keys = [key_number(key) for key in CHORDS[chord].split()]
        if bar % 4 == 0:
            set_tempo(conductor, at, chance.around(beats_a_minute, 2))
        play_second_voice(bell, at, keys, louder, chance)
        play_piano(piano, at, keys, louder, chance)
        left.note(chance.around(at, 10), chance.around(600, 50), keys[0], chance.around(78 + louder, 10))
        play_drums(pads, at, name, bar, louder, chance)
    return start + len(bars) * BAR


def recording() -> bytes:
    """The whole file."""
    chance = Chance(1897)
    conductor = Track("Rehearsal")
    conductor.meta(0, 1, "Dress rehearsal, hall lights on")
    conductor.meta(0, 0x58, bytes([3, 2, 24, 8]))
    conductor.meta(0, 0x59, bytes([0xFF, 1]))
    conductor.sysex(0, bytes.fromhex("7E7F0901F7"))
    reed, bell = Track("Marionette", REED), Track("Second voice", BELL)
    piano, left, pads = Track("Stage piano", PIANO), Track("Left hand", LEFT), Track("Pad board", PADS)
    reed.meta(0, 4, "upper zone")
    set_sounds(reed, bell, piano, left)
    end = 0
    for section in SECTIONS:
        end = play_section([conductor, reed, bell, piano, left, pads], end, section, chance)

    narrator = Track("Narrator")
    for bar, text in LYRICS.items():
        narrator.meta((bar - 1) * BAR + 240, 5, text)
    conductor.meta(4 * BAR, 7, "House lights down")
    conductor.meta(100 * BAR, 7, "House lights up")
    for beat in range(12):
        set_tempo(conductor, 96 * BAR + beat * QUARTER, 126 - 4 * beat)
    piano.controller(36 * BAR - 60, 67, 127)
    piano.controller(52 * BAR - 60, 67, 0)
    # The bouncing key: a second note-on and note-off inside the first note of bar 21.
    reed.note(20 * BAR + 40, 300, key_number("F5"), 47)
    pads.send(103 * BAR + 12, 0x90, 49, 109)

    tracks = [conductor, reed, bell, piano, left, pads, narrator]
    header = b"MThd" + bytes([0, 0, 0, 6, 0, 1, 0, len(tracks)]) + QUARTER.to_bytes(2, "big")
    return header + b"".join(track.chunk(end) for track in tracks)


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else DEFAULT
    target.write_bytes(recording())
    print(f"wrote {target}")
