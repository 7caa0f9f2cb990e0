"""A take that plays in the daemon's loop: in time, as an input, next to the keyboard at that input."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

import rules.journal.format as journal
from rules.errors import MachineError
from rules.journal.format import IN, LOST, TAKE
from rules.journal.replay import replay
from rules.midi.neutral import rest_message
from rules.playback.positions import PARTS_A_CLOCK
from tests.support.live_rig import MS, OFF, ON, PEDAL, PEDAL_UP, PROGRAM, RULES, UP, UP_OFF, LiveRig, silent
from tests.support.outgoing_records import went_out
from tests.support.take_rig import Feeding

START, STOP, CONTINUE, CLOCK = b"\xfa", b"\xfc", b"\xfb", b"\xf8"


def rig_of(text: str = RULES) -> tuple[LiveRig, Feeding]:
    """A daemon that plays rules, and who feeds it."""
    rig = LiveRig(text)
    return rig, Feeding(rig)


def arrivals(rig: LiveRig) -> list[tuple[int, int, bytes]]:
    """What arrived by the journal: time, player, message."""
    return [(time, number, message) for kind, time, number, message in rig.records if kind == IN]


def test_messages_are_played_when_they_are_due() -> None:
    """To the nanosecond, since the loop wakes for them; through the rules, and into the journal."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        feeding.begin()
        feeding.feed((0, 0, ON), (37, 0, OFF))
        yield 100

    rig.goes(script())
    (begun, take, _), (ended, _, _) = arrivals(rig)
    assert (ended - begun, take) == (37 * MS, 2)
    assert rig.rack.messages[:3] == [PROGRAM, ON, OFF]
    assert [record[1:] for record in rig.records if record[0] == TAKE] == [(begun, take, b"keys")]
    assert replay(rig.records) == went_out(rig.records)


def test_the_keyboard_plays_along_and_keeps_what_it_holds() -> None:
    """The take ends with a note down that the keyboard holds too: that sounds on (ruling 37)."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        rig.keys.play(ON, UP)
        yield 5
        feeding.begin()
        feeding.feed((0, 0, ON), (1, 0, PEDAL), (2, 0, b"\x90\x40\x64"), is_last=False)
        yield 20
        rig.rack.messages  # noqa: B018
        feeding.leave()
        yield 5
        assert rig.rack.messages == [b"\x80\x40\x40", PEDAL_UP]
        rig.keys.play(OFF, UP_OFF)
        yield 5
        assert rig.rack.messages == [OFF, OFF, UP_OFF]

    rig.goes(script())
    lost = [record[2:] for record in rig.records if record[0] == LOST]
    assert lost == [(2, journal.ENDED)]
    assert replay(rig.records) == went_out(rig.records)


def test_single_tracks_play_as_other_inputs() -> None:
    """Each by the rules of its input: what the pads play is late."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        feeding.begin("keys", "pads")
        feeding.feed((0, 1, UP), (1, 0, ON), (2, 0, OFF), (2, 1, UP_OFF))
        yield 20
        assert rig.rack.messages == [PROGRAM, ON, OFF]
        yield 40
        assert rig.rack.messages == [UP, UP_OFF]

    rig.goes(script())


def test_the_end_is_told_with_what_is_still_to_come() -> None:
    """The one who feeds is woken, and stays for delayed notes."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        feeding.begin("pads")
        feeding.feed((0, 0, ON), (10, 0, OFF))
        yield 5
        feeding.ask()
        yield 10
        assert feeding.woken == 1
        feeding.ask()
        yield 60
        feeding.ask()
        yield 5

    rig.goes(script())
    assert [(state["over"], state["pending"]) for state in feeding.states] == [
        (False, False),
        (True, True),
        (True, False),
    ]
    assert (feeding.states[-1]["played"], feeding.states[-1]["nowhere"]) == (2, 0)


def test_one_take_plays_at_a_time() -> None:
    """Another client is told which; and an input that isn't there is named."""
    rig, feeding = rig_of()
    other = Feeding(rig)
    asked = []

    def script() -> Iterator[float]:
        feeding.begin()
        asked.append(other.begin("pads", file="other.mid"))
        other.leave()
        asked.append(feeding.begin("organ"))
        yield 5
        asked.append(feeding.feed((0, 3, ON)))
        yield 5
        feeding.leave()
        asked.append(other.begin("pads"))
        yield 5

    rig.goes(script())
    told = [str(answer.exception()) for answer in asked]
    assert told == [
        "pit.mid plays already: end that first",
        'the rules have no input named "organ" any more',
        "a message of a source that the take doesn't have",
        "None",
    ]
    assert isinstance(asked[0].exception(), MachineError)


def test_the_next_take_lets_go_as_a_player_does() -> None:
    """Its notes end, and what is delayed still comes; an order of a switch comes through."""
    rig, feeding = rig_of(
        RULES.replace("[switches]\n", '[switches]\ngo = { from = "pads", note = "C2" }\n')
        + '[[on_switch]]\nwhen = "go"\ndo = "take next"\n'
    )

    def script() -> Iterator[float]:
        feeding.begin("pads")
        feeding.feed((0, 0, ON), is_last=False)
        yield 10
        rig.pads.play(b"\x90\x24\x64")
        yield 5
        feeding.ask()
        feeding.begin("pads")
        feeding.feed((0, 0, UP), (5, 0, UP_OFF))
        yield 100

    rig.goes(script())
    assert feeding.states[0]["orders"] == ["take next"]
    assert rig.rack.messages[:5] == [PROGRAM, ON, OFF, UP, UP_OFF]
    assert replay(rig.records) == went_out(rig.records)


def test_a_pause_ends_what_sounds_and_goes_on_with_what_was_held() -> None:
    """The pedal comes back, notes don't; the rest comes as much later."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        feeding.begin()
        feeding.feed((0, 0, PEDAL), (1, 0, ON), (50, 0, OFF), (60, 0, UP))
        yield 10
        feeding.order("take pause")
        yield 100
        assert rig.rack.messages == [PROGRAM, PEDAL, ON, OFF, PEDAL_UP]
        assert rig.live.status()["playing"]["paused"]
        feeding.order("take pause")
        yield 45
        assert rig.rack.messages == [PEDAL, OFF]
        yield 10
        assert rig.rack.messages == [UP]

    rig.goes(script())
    assert replay(rig.records) == went_out(rig.records)


def test_clock_and_transport_go_to_the_ports_that_want_them() -> None:
    """A pause stops and continues; the end of the client stops, where the take still runs."""
    rig, feeding = rig_of(RULES.replace('rack = { output = "Rack*" }', 'rack = { output = "Rack*", clock = "pads" }'))

    def script() -> Iterator[float]:
        feeding.begin("pads")
        feeding.feed((0, 0, START), (0, 0, CLOCK), (20, 0, CLOCK), is_last=False)
        yield 10
        assert rig.rack.messages == [PROGRAM, START, CLOCK]
        feeding.order("take pause")
        yield 10
        feeding.order("take pause")
        yield 2
        assert rig.rack.messages == [STOP, CONTINUE]
        yield 20
        feeding.leave()
        yield 5
        assert rig.rack.messages == [CLOCK, STOP]

    rig.goes(script())


def test_a_client_that_says_nothing_is_given_up() -> None:
    """Its process may be stopped: after three seconds nothing of it sounds."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        feeding.begin()
        feeding.feed((0, 0, ON), is_last=False)
        yield 4_000
        assert rig.rack.messages == [PROGRAM, ON, OFF]
        feeding.ask()
        assert feeding.woken == 1
        yield 5

    rig.goes(script())
    assert feeding.states == [{"abandoned": True}]


def test_a_client_whose_end_was_missed_makes_room_for_another() -> None:
    """All of its take was there and has been played; nobody came to say that it has gone."""
    rig, feeding = rig_of()
    other = Feeding(rig)
    asked = []

    def script() -> Iterator[float]:
        feeding.begin()
        feeding.feed((0, 0, ON), (10, 0, OFF))
        yield 29_000
        asked.append(other.begin(file="other.mid"))
        yield 2_000
        asked.append(other.begin(file="other.mid"))
        yield 5

    rig.goes(script())
    assert [str(answer.exception()) for answer in asked] == ["pit.mid plays already: end that first", "None"]


def test_status_tells_what_plays() -> None:
    """File, inputs, time, and bar; and that it waits before anything of it has come."""
    rig, feeding = rig_of()
    found = []

    def script() -> Iterator[float]:
        found.append(rig.live.status()["playing"])
        feeding.begin()
        yield 5
        found.append(rig.live.status()["playing"])
        feeding.feed((0, 0, ON), is_last=False)
        yield 5
        found.append(rig.live.status()["playing"])

    rig.goes(script())
    waits = {"file": "pit.mid", "as": ["keys"], "seconds": 0.0, "of": 10.0, "bar": 0, "paused": False, "waits": True}
    assert found == [None, waits, {**waits, "waits": False}]


def test_status_tells_what_the_input_is_called_now() -> None:
    """It got another name while the take played; the take plays on as it."""
    rig, feeding = rig_of()
    found = []

    def script() -> Iterator[float]:
        feeding.begin()
        feeding.feed((0, 0, ON), (20, 0, OFF))
        yield 10
        rig.swap(RULES.replace('keys = { input = "Keys*" }', 'piano = { input = "Key*" }').replace('"keys"', '"piano"'))
        found.append(rig.live.status()["playing"])
        yield 20

    rig.goes(script())
    assert found[0]["as"] == ["piano"]
    assert rig.rack.messages[:3] == [PROGRAM, ON, OFF]


def test_status_tells_whose_tempo_counts() -> None:
    """That of the take which plays as an input, or of the device there."""
    rig, feeding = rig_of(RULES.replace('rack = { output = "Rack*" }', 'rack = { output = "Rack*", clock = "keys" }'))
    found = []

    def script() -> Iterator[float]:
        feeding.begin()
        feeding.feed(*((20 * number, 0, CLOCK) for number in range(60)), is_last=False)
        yield 1_000
        found.append(rig.live.status()["clock"])
        feeding.leave()
        yield 2_000
        for _ in range(60):
            rig.keys.play(CLOCK)
            yield 20
        found.append(rig.live.status()["clock"])

    rig.goes(script())
    assert [(clock["from"], clock["take"]) for clock in found] == [("keys", True), ("keys", False)]


def test_panic_silences_and_the_take_goes_on() -> None:
    """As a sequencer would."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        feeding.begin()
        feeding.feed((0, 0, ON), (50, 0, UP), (60, 0, UP_OFF))
        yield 10
        rig.live.panic()
        assert rest_message((0, 0xE0, 0)) in rig.rack.messages
        yield 60
        assert rig.rack.messages == [UP, UP_OFF]

    rig.goes(script())


@pytest.mark.parametrize("text", [RULES.replace('from = "keys"', 'from = "pads"').replace("keys = {", "other = {")])
def test_an_input_that_goes_takes_what_the_take_holds(text: str) -> None:
    """Rules without it are saved: its notes end, and the rest leads nowhere."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        feeding.begin()
        feeding.feed((0, 0, ON), (50, 0, UP))
        yield 10
        rig.swap(text)
        yield 60
        feeding.ask()
        yield 5

    rig.goes(script())
    assert silent(rig.rack.heard)
    assert feeding.states[0]["nowhere"] == 1
    assert replay(rig.records) == went_out(rig.records)


def test_the_end_of_the_daemon_ends_the_take() -> None:
    """Nothing sounds after it."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        feeding.begin()
        feeding.feed((0, 0, ON), (0, 0, PEDAL), is_last=False)
        yield 10

    rig.goes(script())
    assert silent(rig.rack.heard)


def by_clock(rig: LiveRig, feeding: Feeding) -> None:
    """A take that follows the clock: a quarter note long."""
    feeding.begin("keys", by_clock=True)
    beat = 24 * PARTS_A_CLOCK
    feeding.feed((0, 0, ON), (beat // 2, 0, OFF), (beat, 0, UP), (beat, 0, UP_OFF), until=4 * beat)


def ticks(rig: LiveRig, many: int) -> Iterator[float]:
    """Clock messages at 125 BPM."""
    for _ in range(many):
        rig.pads.play(CLOCK)
        yield 20


def test_a_take_follows_the_clock_that_starts() -> None:
    """It waits for the start; each of its messages comes right behind the clock message that it belongs to."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        yield from ticks(rig, 10)
        by_clock(rig, feeding)
        yield from ticks(rig, 10)
        assert rig.rack.messages == [PROGRAM]
        assert rig.live.status()["playing"]["waits"]
        rig.pads.play(START)
        yield from ticks(rig, 12)
        assert rig.rack.messages == [ON]
        assert not rig.live.status()["playing"]["waits"]
        yield from ticks(rig, 1)
        assert rig.rack.messages == [OFF]
        yield from ticks(rig, 11)
        assert rig.rack.messages == []
        yield from ticks(rig, 1)
        assert rig.rack.messages == [UP, UP_OFF]

    rig.goes(script())


def test_a_take_joins_the_clock_that_runs() -> None:
    """Its transport was started before: the next clock message is its beginning."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        rig.pads.play(START)
        yield from ticks(rig, 10)
        rig.rack.messages  # noqa: B018
        by_clock(rig, feeding)
        yield 5
        assert rig.rack.messages == []
        yield from ticks(rig, 1)
        assert rig.rack.messages == [ON]

    rig.goes(script())


def test_a_take_that_has_waited_for_a_pedal_joins_the_clock_that_runs() -> None:
    """It begins with the clock's next message, as without a pedal."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        rig.pads.play(START)
        yield from ticks(rig, 10)
        feeding.begin("keys", by_clock=True)
        yield from ticks(rig, 10)
        feeding.order("take next")
        yield 1
        feeding.feed((0, 0, ON))
        yield 1
        assert rig.rack.messages == [PROGRAM]
        yield from ticks(rig, 1)
        assert rig.rack.messages == [ON]

    rig.goes(script())


@pytest.mark.parametrize("clock", ["bpm = 96", 'follow = "pads"'])
def test_a_take_begins_with_a_start_that_comes_before_its_clock(clock: str) -> None:
    """Where the rules have a clock as well: a sequencer that sends its clock only while it plays still counts."""
    rig, feeding = rig_of(f"{RULES}[clock]\n{clock}\n")

    def script() -> Iterator[float]:
        by_clock(rig, feeding)
        yield 50
        rig.pads.play(START)
        yield 5
        yield from ticks(rig, 1)
        assert rig.rack.messages == [PROGRAM, ON]
        yield from ticks(rig, 11)
        assert rig.rack.messages == []
        yield from ticks(rig, 1)
        assert rig.rack.messages == [OFF]

    rig.goes(script())


@pytest.mark.parametrize("status", [START, STOP])
def test_what_a_clock_asked_earlier_is_not_recorded_before_what_arrived_since(status: bytes) -> None:
    """A recording whose times go backwards would count as damaged from there on."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        by_clock(rig, feeding)
        rig.pads.play(START)
        yield from ticks(rig, 6)
        rig.keys.play(UP)
        yield 1
        heard = rig.live.session.clockwork.heard
        assert heard is not None
        heard.append((rig.live.session.players["pads"], status[0], rig.now - 10 * MS))
        yield from ticks(rig, 2)

    rig.goes(script())
    times = [time for kind, time, *_ in rig.records if kind in (IN, LOST)]
    assert times == sorted(times)
    assert OFF in rig.rack.heard


def test_a_take_stops_continues_and_begins_again_with_the_clock() -> None:
    """A stop ends what sounds; another start asks for all of it from the beginning."""
    rig, feeding = rig_of()

    def script() -> Iterator[float]:
        by_clock(rig, feeding)
        rig.pads.play(START)
        yield from ticks(rig, 6)
        rig.pads.play(STOP)
        yield from ticks(rig, 30)
        assert rig.rack.messages == [PROGRAM, ON, OFF]
        rig.pads.play(CONTINUE)
        yield from ticks(rig, 18)
        assert rig.rack.messages == [OFF]
        rig.pads.play(START)
        yield 1
        feeding.ask()
        yield 1
        assert feeding.states[-1]["orders"] == ["take again"]
        yield from ticks(rig, 2)
        beat = 24 * PARTS_A_CLOCK
        feeding.feed((0, 0, UP), (beat // 8, 0, UP_OFF), until=4 * beat)
        yield 5
        assert rig.rack.messages == [UP]
        yield from ticks(rig, 2)
        assert rig.rack.messages == [UP_OFF]

    rig.goes(script())
    assert replay(rig.records) == went_out(rig.records)


def test_a_take_follows_our_own_clock() -> None:
    """Each of its beats, from its start on, and its stop."""
    rig, feeding = rig_of(RULES.replace('rack = { output = "Rack*" }', 'rack = { output = "Rack*", clock = "own" }'))

    def script() -> Iterator[float]:
        rig.live.order_clock(125.0)
        by_clock(rig, feeding)
        yield 50
        assert ON not in rig.rack.messages
        rig.live.order_clock("start")
        yield 230
        assert [message for message in rig.rack.messages if message not in (CLOCK, START)] == [ON]
        yield 30
        assert OFF in rig.rack.messages
        rig.live.order_clock("stop")
        yield 500
        assert UP not in rig.rack.messages
        rig.live.order_clock("continue")
        yield 270
        assert UP in rig.rack.messages

    rig.goes(script())
    assert replay(rig.records) == went_out(rig.records)
