"""The engine, judged by what an instrument that follows the standard makes of its output.

M1 is the MIDI 1.0 Detailed Specification 4.2.1 (1996), GM1 General MIDI System Level 1 (RP-003, 1991), RP4 MIDI Time
Code (RP-004).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations

import pytest

from tests.support.playing import MakeSubject, Sent, make_model, milliseconds, ruleset_of
from tests.support.subjects import make_engine

Arriving = tuple[str, bytes]
"""Source and message."""

PORTS = """
[ports]
keys  = { input = true }
pads  = { input = true }
synth = { output = true }
"""
THRU = f'{PORTS}\n[[rules]]\nfrom = "keys"\nto = "synth"\n'
MERGED = f'{PORTS}\n[[rules]]\nfrom = ["keys", "pads"]\nto = "synth"\n'


def sent(rules: str, messages: Sequence[Arriving], make: MakeSubject = make_engine) -> list[bytes]:
    """What comes out of messages; they arrive a millisecond apart."""
    (heard,) = sent_each(rules, [messages], make)
    return heard


def sent_each(rules: str, performances: Iterable[Sequence[Arriving]], make: MakeSubject) -> Iterator[list[bytes]]:
    """What comes out of each performance; a panic ends it, and is not heard."""
    subject = make(ruleset_of(rules), milliseconds)
    players = {source: subject.add_player(source) for source in ("keys", "pads")}
    now = 0
    for messages in performances:
        out: list[Sent] = []
        for source, message in messages:
            now += 1
            subject.feed(players[source], message, now, out)
        subject.silence(now, [])
        yield [message for _, message, _, _ in out]


def from_keys(text: str) -> list[Arriving]:
    """Messages in hex, parted by commas, all from the keyboard."""
    return [("keys", bytes.fromhex(message)) for message in text.split(",")]


def through(rules: str, text: str) -> str:
    """What comes out of messages in hex, in the same form."""
    return ", ".join(message.hex(" ").upper() for message in sent(rules, from_keys(text)))


# -- worked streams ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "stream",
    [
        pytest.param("90 3C 27, 90 40 2B, 90 43 25", id="M1 A-1, three notes"),
        pytest.param("90 3C 27, 90 3C 00, 90 3E 29", id="M1 A-1, an off as a note-on of velocity 0"),
        pytest.param("B0 7C 00, B0 01 37", id="M1 A-2, a mode message and a controller"),
        pytest.param("90 43 40, B0 40 7F, 90 43 00, B0 7B 00, B0 40 00", id="M1 A-5, all notes off under the pedal"),
        pytest.param("90 3C 40, B0 54 3C, 90 40 40, 80 3C 40, 80 40 40", id="M1 p.17, portamento control"),
        pytest.param("B0 65 00, B0 64 00, B0 06 02, B0 26 00", id="M1 p.17-18, bend range of two semitones"),
        pytest.param("B0 64 03, B0 65 00, B0 06 05", id="M1 p.50, a tuning program, fine half first"),
        pytest.param("B0 00 00, B0 20 7F, C0 00", id="M1 p.13, bank 128"),
        pytest.param("E0 00 00, E0 00 40, E0 7F 7F, E0 00 40", id="M1 p.19, the ends and the centre of the bend"),
        pytest.param("F0 7E 7F 09 01 F7, F0 7E 7F 09 02 F7", id="M1 p.52, General MIDI on and off"),
        pytest.param("F0 7E 7F 06 01 F7", id="M1 p.40, identity request"),
        pytest.param("F0 7F 7F 04 01 00 40 F7", id="M1 p.57, master volume"),
        pytest.param("F0 7F 7F 01 01 61 25 34 10 F7", id="RP4 p.5, full time code"),
        pytest.param("F2 0A 00, FB, F8, F8, F8", id="M1 p.27-28, from a song position on"),
        pytest.param(
            "F1 00, F1 11, F1 24, F1 33, F1 45, F1 52, F1 61, F1 76", id="RP4 p.1-4, time code 01:37:52:16 by quarters"
        ),
    ],
)
def test_worked_streams_pass_as_they_are(stream: str) -> None:
    """A rule without steps passes the standard's own examples on, message by message."""
    assert through(THRU, stream) == stream


@pytest.mark.parametrize("undefined", ["F4", "F5", "F9", "FD"])
def test_undefined_messages_are_not_passed_on(undefined: str) -> None:
    """What the standard leaves undefined is ignored, and disturbs nothing (M1 p.6, A-2)."""
    assert through(THRU, f"90 3C 27, {undefined}, 90 40 2B") == "90 3C 27, 90 40 2B"


def test_system_reset_and_active_sensing_are_not_passed_on() -> None:
    """FF must not be echoed (M1 p.33), and active sensing only speaks for the cable that it comes by (p.32)."""
    assert through(THRU, "FE, 90 3C 27, FF, FE") == "90 3C 27"


def test_portamento_control_carries_a_key() -> None:
    """Controller 84 names the key to glide from, so it is transposed with the notes (M1 p.16-17)."""
    up = THRU + "steps = [{ transpose = 12 }]\n"
    assert through(up, "90 3C 40, B0 54 3C, 90 40 40, 80 3C 40, 80 40 40") == (
        "90 48 40, B0 54 48, 90 4C 40, 80 48 40, 80 4C 40"
    )


def test_mode_messages_move_with_their_channel() -> None:
    """A rechannelled source takes its mode messages along; system messages have no channel (M1 p.20, table 1)."""
    moved = THRU + "steps = [{ rechannel = 5 }]\n"
    assert through(moved, "B0 01 37, B0 7B 00, B0 79 00, C0 05, F0 7D 01 F7, F8") == (
        "B4 01 37, B4 7B 00, B4 79 00, C4 05, F0 7D 01 F7, F8"
    )


# -- switches ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("pedal", [64, 65, 66, 67, 68, 69, 80])
def test_a_pedal_is_down_from_64(pedal: int) -> None:
    """Of a switch controller's values 0-63 are off and 64-127 are on (M1 p.12)."""
    rules = (
        f'{PORTS}\n[switches]\ndown = {{ from = "keys", controller = {pedal}, mode = "momentary" }}\n'
        '[[rules]]\nfrom = "keys"\nwhen = "down"\nto = "synth"\n'
    )
    messages = []
    for value in range(128):
        messages += [bytes((0xB0, pedal, value)), bytes((0x90, value, 100)), bytes((0xB0, pedal, 0))]
    heard = sent(rules, [("keys", message) for message in messages])
    assert heard == [bytes((0x90, value, 100)) for value in range(64, 128)]


# -- sequences that belong together -----------------------------------------------------------------------------------


class Instrument:
    """What a receiver makes of one channel: parameters by number (M1 p.12, 17-18) and programs by bank (p.13).

    `parameters` are [coarse, fine] by (controller of the coarse half, coarse number, fine number).
    """

    def __init__(self, messages: Sequence[bytes]) -> None:
        self.parameters: dict[tuple[int, int, int], list[int]] = {}
        self.programs: list[tuple[int, int, int]] = []
        self._chosen = {98: 127, 99: 127, 100: 127, 101: 127}
        self._sort = 100
        self._bank = [0, 0]
        for message in messages:
            if message[0] & 0xF0 == 0xC0:
                self.programs.append((self._bank[0], self._bank[1], message[1]))
            else:
                self._control(*message[1:])

    def _control(self, number: int, value: int) -> None:
        if number in (0, 32):
            self._bank[number // 32] = value
        elif number in self._chosen:
            if number & ~1 != self._sort:  # a choice of the other sort begins anew
                self._sort = number & ~1
                self._chosen = dict.fromkeys(self._chosen, 127)
            self._chosen[number] = value
        elif number == 6:
            self._chosen_parameter()[:] = [value, 0]  # the coarse half puts the fine one to 0 (M1 p.12)
        elif number == 38:
            self._chosen_parameter()[1] = value

    def _chosen_parameter(self) -> list[int]:
        name = (self._sort + 1, self._chosen[self._sort + 1], self._chosen[self._sort])
        return self.parameters.setdefault(name, [0, 0])


def interleaved(one: Sequence[bytes], other: Sequence[bytes]) -> Iterator[list[Arriving]]:
    """Every order in which two sources' messages can arrive, each source's own order kept."""
    size = len(one) + len(other)
    for places in combinations(range(size), len(one)):
        left, right = iter(one), iter(other)
        yield [("keys", next(left)) if place in places else ("pads", next(right)) for place in range(size)]


def controllers(*values: tuple[int, int]) -> list[bytes]:
    """Controllers of channel 1, by number and value."""
    return [bytes((0xB0, number, value)) for number, value in values]


BOTH = pytest.mark.parametrize("make", [make_engine, make_model], ids=["engine", "model"])

BEND_RANGE = controllers((101, 0), (100, 0), (6, 2), (38, 0))
FINE_TUNING = controllers((100, 1), (101, 0), (6, 80), (38, 16))
COARSE_TUNING = controllers((101, 0), (100, 2), (6, 60))
MAKERS_OWN = controllers((99, 3), (98, 4), (6, 5), (38, 6))
OTHER_BLOCK = controllers((101, 61), (100, 1), (6, 9), (38, 10))


@BOTH
@pytest.mark.parametrize(
    ("one", "other"),
    [
        pytest.param(BEND_RANGE, FINE_TUNING, id="two registered parameters"),
        pytest.param(FINE_TUNING, COARSE_TUNING, id="fine and coarse tuning"),
        pytest.param(BEND_RANGE, MAKERS_OWN, id="a registered one and a maker's own"),
        pytest.param(BEND_RANGE, OTHER_BLOCK, id="registered ones of two blocks"),
        pytest.param(MAKERS_OWN, controllers((99, 7), (98, 8), (6, 9)), id="two of the maker's own"),
    ],
)
def test_parameters_of_merged_sources_are_set_right(one: list[bytes], other: list[bytes], make: MakeSubject) -> None:
    """However two sources' parameter changes run into each other, an instrument sets each as its source meant it."""
    meant = {**Instrument(one).parameters, **Instrument(other).parameters}
    orders = list(interleaved(one, other))
    for arriving, heard in zip(orders, sent_each(MERGED, orders, make), strict=True):
        assert Instrument(heard).parameters == meant, arriving


@BOTH
def test_banks_of_merged_sources_go_with_their_programs(make: MakeSubject) -> None:
    """However two sources' bank selects run into each other, each program comes from its source's bank (M1 p.13)."""
    one = [*controllers((0, 1), (32, 2)), bytes((0xC0, 10))]
    other = [*controllers((0, 3), (32, 4)), bytes((0xC0, 20))]
    orders = list(interleaved(one, other))
    for arriving, heard in zip(orders, sent_each(MERGED, orders, make), strict=True):
        assert sorted(Instrument(heard).programs) == [(1, 2, 10), (3, 4, 20)], arriving


# -- a kit of drums ---------------------------------------------------------------------------------------------------


def test_pads_play_the_kit_of_general_midi() -> None:
    """A table of notes brings pads to the drum keys of General MIDI (GM1 p.2-6), here with middle C written as C3."""
    notes = "C3 = 'C1', D3 = 'D1', E3 = 'F#1', F3 = 'A#1', G3 = 'C#2', A3 = 'D#2', B3 = 'G#2'"
    steps = f'steps = [{{ rechannel = 10 }}, {{ map = {{ notes = {{ {notes} }}, others = "drop" }} }}]\n'
    rules = f'middle_c = "C3"\n{THRU}{steps}'
    pads = [60, 62, 64, 65, 67, 69, 71, 72]
    bass_drum_1, acoustic_snare, closed_hi_hat, open_hi_hat = 36, 38, 42, 46
    crash_1, ride_1, cowbell = 49, 51, 56
    kit = [bass_drum_1, acoustic_snare, closed_hi_hat, open_hi_hat, crash_1, ride_1, cowbell]
    hits = [("keys", bytes((0x90, key, 100))) for key in pads]
    assert sent(rules, hits) == [bytes((0x99, key, 100)) for key in kit]
