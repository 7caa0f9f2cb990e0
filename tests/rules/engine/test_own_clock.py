"""Our clock in a session: what it sends, and how it follows another one (ruling 38)."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

import pytest

from rules.compiler.compiler import compile_rules
from rules.engine.clockwork import ClockHeard
from rules.engine.delivery import Sent
from rules.engine.session import Session
from rules.engine.written_lists import NOBODY
from rules.midi.messages import CLOCK as CLOCK_STATUS
from rules.midi.notation import format_message, parse_whole_message
from rules.rulefile.reading import read_rules

MS = 1_000_000

PORTS = """
[ports]
keys = { input = true }
seq = { input = true }
drums = { output = true, clock = "own" }
box = { output = true, clock = "own" }
rack = { output = true }
"""
CLOCK = "[clock]\nbpm = 125\n"  # a clock message every 20 ms
FOLLOW = CLOCK + 'follow = "seq"\n'
GO_ON = FOLLOW + "go_on = true\n"
ONE = PORTS.replace('box = { output = true, clock = "own" }', "box = { output = true }")


class Stage:
    """A session with times in ms. Clock messages are told as their times, all else in words."""

    def __init__(self, rules: str, *, begins: bool = True) -> None:
        ruleset = read_rules([("rules.toml", rules.encode())])
        self.session = Session(ruleset, compile_rules(ruleset))
        self.out: list[Sent] = []
        if begins:
            self.session.start(0, self.out)

    def at(self, ms: float, source: str, *messages: str) -> None:
        """Let messages arrive."""
        for message in messages:
            player = self.session.players[source]
            self.session.arrive(player, parse_whole_message(message), _ns(ms), self.out)

    def order(self, ms: float, order: str | float) -> None:
        """Ask the clock for something."""
        self.session.order_clock(order, _ns(ms), self.out)

    def until(self, ms: float) -> None:
        """Let time pass."""
        self.session.advance(_ns(ms), self.out)

    def reload(self, ms: float, rules: str) -> None:
        """Put other rules in force."""
        ruleset = read_rules([("rules.toml", rules.encode())])
        pipeline = compile_rules(ruleset, self.session.pipeline.ports)
        self.session.replace(ruleset, pipeline, _ns(ms), self.out)

    def told(self, port: str = "drums") -> list[float | str]:
        """What a port got since the last call."""
        number = self.session.pipeline.ports.index(port)
        found: list[float | str] = []
        for target, message, due, _ in self.out:
            if target == number:
                ms = due / MS
                found.append(ms if message == b"\xf8" else f"{ms:g} {format_message(message)}")
        self.out = [sent for sent in self.out if sent[0] != number]
        return found


def _ns(ms: float) -> int:
    return round(ms * MS)


def steps(first: float, step: float, many: int) -> list[float]:
    """Times one after the other."""
    return [first + step * number for number in range(many)]


def test_it_ticks_from_the_beginning_at_all_ports_that_hear_it() -> None:
    """24 clock messages a quarter note, though nobody plays; others hear nothing."""
    stage = Stage(CLOCK + PORTS)
    stage.until(100)
    assert stage.told("drums") == stage.told("box") == steps(0, 20, 6)
    assert stage.told("rack") == []


def test_it_is_silent_where_nobody_hears_it() -> None:
    """Then there is nothing to wake up for, but a song is counted all the same."""
    stage = Stage(CLOCK + PORTS.replace("own", "none"))
    assert stage.session.next_due > 1 << 60
    stage.order(50, "start")
    stage.until(550)
    assert stage.session.clockwork.state(_ns(550)).beats == pytest.approx(490 / 480, abs=1 / 24)
    assert stage.out == []


def test_due_messages_go_out_in_order_of_time() -> None:
    """Echoes and clock messages, each at its time; at one time the clock goes first."""
    echo = '[[rules]]\nfrom = "keys"\nsteps = [{ delay = 15 }, { delay = 5, when = "x" }]\nto = "drums"\n'
    stage = Stage(CLOCK + ONE + echo.replace(', { delay = 5, when = "x" }', ""))
    stage.at(5, "keys", "note-on 1 C4 9")
    stage.at(25, "keys", "note-off 1 C4 9")
    stage.until(50)
    assert stage.told() == [0, 20, "20 note-on 1 C4 9", 40, "40 note-off 1 C4 9"]


def test_start_continue_and_stop_are_messages() -> None:
    """They go out at once, the clock goes on evenly, and the clock message behind a start is the first beat."""
    stage = Stage(CLOCK + ONE)
    stage.order(30, "start")
    stage.until(60)
    assert stage.told() == [0, 20, "30 start", 40, 60]
    assert stage.session.clockwork.state(_ns(60)).beats == 1 / 24
    stage.order(70, "stop")
    stage.order(90, "continue")
    stage.until(100)
    assert stage.told() == ["70 stop", 80, "90 continue", 100]
    assert stage.session.clockwork.state(_ns(100)).beats == 2 / 24


def test_a_start_right_before_a_clock_message_waits_for_it() -> None:
    """A receiver needs a millisecond to get ready for its first clock message."""
    stage = Stage(CLOCK + ONE)
    stage.order(19.5, "start")
    stage.order(39, "start")
    stage.until(60)
    assert stage.told() == [0, 20, "20 start", "39 start", 40, 60]
    stage.order(79.5, "start")
    stage.order(79.7, "stop")
    stage.until(80)
    assert stage.told() == ["79.7 start", "79.7 stop", 80]


def test_a_tempo_keeps_the_phase() -> None:
    """Half of the way to the next clock message is half of the way at the new tempo."""
    stage = Stage(CLOCK + ONE)
    stage.order(50, 62.5)
    stage.until(200)
    assert stage.told() == [0, 20, 40, 70, 110, 150, 190]


def test_taps_set_the_tempo() -> None:
    """From the second on; and nothing jumps."""
    stage = Stage(CLOCK + ONE)
    stage.order(0, "tap")
    stage.order(960, "tap")
    stage.until(1_040)
    assert stage.told()[-3:] == [960, 1_000, 1_040]
    assert stage.session.clockwork.state(0).bpm == 62.5


TURN = '[switches]\nup = {{ from = "keys", note = "C1" }}\n[[on_switch]]\nwhen = "up"\n{}\n'


def test_a_switch_sets_the_tempo_and_starts_it() -> None:
    """What it sends goes out before the start, so that it may choose a pattern."""
    turn = TURN.format('bpm = 62.5\nsend = { drums = "song-select 3" }\ndo = ["clock start"]')
    stage = Stage(CLOCK + ONE + turn)
    stage.at(50, "keys", "note-on 1 C1 9")
    stage.until(110)
    assert stage.told() == [0, 20, 40, "50 song-select 3", "50 start", 70, 110]
    assert stage.session.effects == []


def test_a_tempo_of_a_switch_counts_from_the_beginning() -> None:
    """Where its condition is true then; what it does is not done."""
    turn = TURN.format('bpm = 62.5\ndo = ["clock start"]').replace('note = "C1"', 'note = "C1", initial = true')
    stage = Stage(CLOCK + ONE + turn)
    stage.until(80)
    assert stage.told() == [0, 40, 80]
    stage = Stage(CLOCK + ONE + turn + "initially = false\n")
    stage.until(40)
    assert stage.told() == [0, 20, 40]


PADS = """
start = { from = "keys", note = "C1" }
continue = { from = "keys", note = "D1" }
stop = [{ from = "keys", note = "E1" }, { from = "keys", program = 3, pass_on = true }]
tap = { from = "keys", controller = "sostenuto" }
"""


def test_pads_and_pedals_move_it() -> None:
    """They act on the press, and go nowhere else; but for those that are passed on."""
    rule = '[[rules]]\nfrom = "keys"\nto = "rack"\n'
    stage = Stage(CLOCK + PADS + ONE + rule)
    stage.at(10, "keys", "note-on 1 C1 9", "note-off 1 C1 0")
    stage.at(30, "keys", "note-on 1 E1 9")
    stage.at(50, "keys", "note-on 1 D1 9", "program 1 3")
    assert stage.told() == [0, "10 start", 20, "30 stop", 40, "50 continue", "50 stop"]
    assert stage.told("rack") == ["50 program 1 3"]


def test_a_pedal_taps_the_tempo() -> None:
    """Each time it goes down; half a press is none."""
    stage = Stage(CLOCK + PADS + ONE)
    for at, value in [(0, 127), (100, 0), (600, 60), (700, 0), (1_000, 64), (1_100, 90), (1_200, 0), (2_000, 127)]:
        stage.at(at, "keys", f"controller 1 sostenuto {value}")
    assert stage.session.clockwork.state(0).bpm == 60


def test_a_long_press_and_a_short_one_may_differ() -> None:
    """Held for its time it stops; let go before that it starts."""
    pads = 'start = { from = "keys", note = "C1" }\nstop = { from = "keys", note = "C1", long = 500 }\n'
    stage = Stage(CLOCK + pads + ONE)
    stage.at(10, "keys", "note-on 1 C1 9")
    stage.at(210, "keys", "note-off 1 C1 0")
    stage.at(1_000, "keys", "note-on 1 C1 9")
    stage.until(2_000)
    assert [each for each in stage.told() if isinstance(each, str)] == ["210 start", "1500 stop"]


def test_a_tap_acts_at_the_press() -> None:
    """Also where a long press of the same pedal does something else: a tap that waited would come late."""
    pedals = 'tap = { from = "keys", note = "C1" }\nstop = { from = "keys", note = "C1", long = 500 }\n'
    stage = Stage(CLOCK + pedals + ONE)
    for press in (0, 1_000):
        stage.at(press, "keys", "note-on 1 C1 9")
        stage.at(press + 50 + press // 5, "keys", "note-off 1 C1 0")
    assert stage.session.clockwork.state(0).bpm == 60


def test_a_song_brings_its_tempo() -> None:
    """The first from the beginning, another when it is chosen, with all that it sends."""
    songs = """
[set_list]
next = { from = "keys", note = "C1" }
[[songs]]
name = "harbour"
bpm = 62.5
[[songs]]
name = "lantern"
bpm = 250
send = { drums = "song-select 3" }
do = ["clock start"]
"""
    stage = Stage(CLOCK + ONE + songs)
    stage.until(45)
    stage.at(50, "keys", "note-on 1 C1 9")
    stage.until(66)
    assert stage.told() == [0, 40, "50 song-select 3", "50 start", 57.5]
    assert stage.session.clockwork.state(0).bpm == 250


# -- another clock ----------------------------------------------------------------------------------------------------


def ticks(stage: Stage, times: Iterable[float]) -> None:
    """Clock messages from the other clock."""
    for time in times:
        stage.at(time, "seq", "clock")


@pytest.mark.parametrize(("order", "beats"), [("start", 0), ("continue", 6 / 24)])
def test_a_song_that_waits_for_a_clock_message_will_run(order: str, beats: float) -> None:
    """Whoever asks for it right before one is told that it runs, and from where."""
    stage = Stage(CLOCK + ONE)
    stage.order(1, "start")
    stage.until(130)
    stage.order(131, "stop")
    stage.order(139.5, order)
    state = stage.session.clockwork.state(_ns(139.5))
    assert (state.is_running, state.will_run, state.beats) == (False, True, beats)
    stage.until(140)
    state = stage.session.clockwork.state(_ns(140))
    assert (state.is_running, state.will_run, state.beats) == (True, True, beats)


def test_it_follows_another_clock() -> None:
    """Its clock, transport and song position go out as they come, and not ours."""
    stage = Stage(FOLLOW + ONE)
    stage.until(50)
    stage.at(55, "seq", "song-position 4", "start")
    ticks(stage, steps(75, 10, 5))
    assert stage.told() == [0, 20, 40, "55 song-position 4", "55 start", *steps(75, 10, 5)]
    state = stage.session.clockwork.state(_ns(115))
    assert (state.source, state.is_running, state.beats) == ("seq", True, 4 / 24)


def test_a_source_that_starts_without_a_clock_starts_ours() -> None:
    """Its own clock may still come: so ours waits for a moment."""
    stage = Stage(FOLLOW + ONE)
    stage.at(55, "seq", "start")
    stage.until(150)
    assert stage.told() == [0, 20, 40, "55 start", 105, 125, 145]


def test_a_clock_that_is_not_followed_does_nothing() -> None:
    """Where ports hear ours, the tempo of beats is ours as well."""
    stage = Stage(CLOCK + ONE)
    ticks(stage, steps(3, 10, 30))
    assert stage.told() == steps(0, 20, 15)
    assert stage.session.clockwork.state(_ns(300)) == ("own", None, 125.0, False, False, None)


def test_a_start_that_waits_for_our_clock_goes_behind_the_other_one() -> None:
    """The other clock comes in between: the clock message behind the start is the first beat, as always."""
    stage = Stage(FOLLOW + ONE)
    stage.order(19.5, "start")
    ticks(stage, steps(19.8, 10, 3))
    assert stage.told() == [0, 19.8, "19.8 start", 29.8, 39.8]
    assert stage.session.clockwork.state(_ns(39.8)).beats == 1 / 24


@pytest.mark.parametrize("order", ["start", "continue"])
@pytest.mark.parametrize("message", ["start", "continue", "stop", "song-position 4"])
def test_a_start_that_waits_goes_before_what_the_other_source_asks_for(order: str, message: str) -> None:
    """Each in its turn: a stop that comes behind it stops the song, and no start comes after it. Takes hear it so."""
    stage = Stage(FOLLOW + ONE)
    heard: list[ClockHeard] = []
    stage.session.clockwork.heard = heard
    stage.order(19.5, order)
    stage.at(19.8, "seq", message)
    ticks(stage, [29.8])
    told = [each for each in stage.told() if isinstance(each, str)]
    assert told == [f"19.8 {order}", f"19.8 {message}"]
    assert next(player for player, status, _ in heard if status != CLOCK_STATUS) == NOBODY
    assert stage.session.clockwork.state(_ns(29.8)).is_running == (message != "stop")


def test_what_moves_no_song_leaves_a_start_waiting() -> None:
    """Time code of the other source comes a hundred times a second."""
    stage = Stage(FOLLOW + ONE)
    stage.order(19.5, "start")
    stage.at(19.8, "seq", "mtc 0")
    stage.until(20)
    assert stage.told() == [0, "19.8 mtc 0", 20, "20 start"]


def test_it_falls_silent_with_the_other_clock() -> None:
    """Two clock messages late, and what sound servers blur; then it waits for the clock, or for an order."""
    stage = Stage(FOLLOW + ONE)
    ticks(stage, steps(10, 10, 30))
    stage.until(3_000)
    assert stage.told() == [0, *steps(10, 10, 30)]
    ticks(stage, [3_000])
    assert stage.told() == [3_000]
    stage.until(4_000)
    stage.order(4_000, "continue")
    stage.until(4_050)
    assert stage.told() == ["4000 continue", 4_001, 4_021, 4_041]
    assert stage.session.clockwork.state(_ns(4_050)).source == "own"


def test_it_goes_on_where_the_other_clock_stops() -> None:
    """In the same beat and tempo; what is missing by then goes out at once."""
    stage = Stage(GO_ON + ONE)
    stage.at(5, "seq", "start")
    ticks(stage, steps(10, 10, 60))
    stage.until(700)
    told = stage.told()
    assert told[:3] == [0, "5 start", 10]
    assert told[2:62] == steps(10, 10, 60)
    assert told[62:66] == [645] * 4
    assert told[66:] == steps(650, 10, 6)
    state = stage.session.clockwork.state(_ns(700))
    assert (state.source, state.is_running, state.beats) == ("own", True, 69 / 24)
    assert state.bpm == pytest.approx(250)


def test_clock_messages_that_come_late_are_left_out() -> None:
    """For each of them one of ours has gone; the one that is in time leads again."""
    stage = Stage(GO_ON + ONE)
    ticks(stage, steps(10, 10, 60))
    ticks(stage, [*[683] * 8, 688, 698])
    told = stage.told()
    assert told[61:] == [*[645] * 4, 650, 660, 670, 680, 688, 698]


def test_another_clock_takes_over_at_once_after_a_while() -> None:
    """Half a second later it isn't the same clock that stuttered."""
    stage = Stage(GO_ON + ONE)
    ticks(stage, steps(10, 10, 60))
    stage.until(1_299)
    stage.told()
    ticks(stage, [1_303, 1_313, 1_323])
    assert stage.told() == [1_300, 1_303, 1_313, 1_323]


def test_a_lost_clock_stops_the_song_unless_ours_goes_on() -> None:
    """One stop; or nothing but the next clock message."""
    stage = Stage(FOLLOW + ONE)
    stage.at(5, "seq", "start")
    ticks(stage, steps(10, 10, 30))
    stage.session.lose(stage.session.players["seq"], _ns(305), stage.out)
    stage.until(1_000)
    assert stage.told()[-2:] == [300, "305 stop"]
    stage = Stage(GO_ON + ONE)
    stage.at(5, "seq", "start")
    ticks(stage, steps(10, 10, 30))
    stage.session.lose(stage.session.players["seq"], _ns(305), stage.out)
    stage.until(330)
    assert stage.told()[-4:] == steps(300, 10, 4)


def test_a_trigger_keeps_the_transport_that_it_takes() -> None:
    """A start that turns a switch isn't passed on to the ports that hear the clock (ruling 25)."""
    stage = Stage(FOLLOW + ONE + '[switches]\nup = { from = "seq", kind = "start" }\n')
    stage.at(5, "seq", "start", "stop")
    assert stage.told() == [0, "5 stop"]


# -- ports and rules --------------------------------------------------------------------------------------------------


def test_an_output_that_returns_joins_a_song() -> None:
    """At the next sixteenth, between two clock messages."""
    stage = Stage(CLOCK + PORTS)
    stage.order(10, "start")
    stage.until(50)
    stage.session.return_output("box", _ns(50), stage.out)
    stage.until(140)
    joined = [each for each in stage.told("box") if not isinstance(each, str) or "controller" not in each]
    joined = [each for each in joined if not isinstance(each, str) or "bend" not in each]
    assert joined[-5:] == [100, 120, "120 song-position 1", "120 continue", 140]
    assert "continue" not in str(stage.told("drums"))


def test_an_output_that_returns_while_no_song_runs_hears_the_clock() -> None:
    """And nothing else of it."""
    stage = Stage(CLOCK + PORTS)
    stage.session.return_output("box", _ns(50), stage.out)
    stage.until(400)
    assert "continue" not in str(stage.told("box"))


def test_a_reload_changes_who_hears_it() -> None:
    """Who no longer does gets one stop, who does now joins the song; for the others nothing changes."""
    rack = PORTS.replace('box = { output = true, clock = "own" }', "box = { output = true }")
    rack = rack.replace("rack = { output = true }", 'rack = { output = true, clock = "own" }')
    stage = Stage(CLOCK + PORTS)
    stage.order(10, "start")
    stage.until(30)
    stage.reload(30, CLOCK + rack)
    stage.until(140)
    assert stage.told("drums") == [0, "10 start", *steps(20, 20, 7)]
    assert stage.told("box") == [0, "10 start", 20, "30 stop"]
    assert stage.told("rack") == [*steps(40, 20, 5), "120 song-position 1", "120 continue", 140]


def test_a_tempo_that_is_written_anew_counts() -> None:
    """One that was tapped outlives a reload that doesn't change it, and so does that of a song."""
    stage = Stage(CLOCK + ONE)
    stage.order(0, 62.5)
    stage.reload(10, CLOCK + ONE + "# a remark")
    assert stage.session.clockwork.state(0).bpm == 62.5
    stage.reload(20, CLOCK.replace("125", "250") + ONE)
    assert stage.session.clockwork.state(0).bpm == 250
    song = TURN.format("bpm = 50").replace('note = "C1"', 'note = "C1", initial = true')
    stage = Stage(CLOCK + ONE + song)
    stage.reload(20, CLOCK.replace("125", "250") + ONE + song)
    assert stage.session.clockwork.state(0).bpm == 50


def test_panic_leaves_it_alone() -> None:
    """Notes end; the song goes on."""
    stage = Stage(CLOCK + ONE)
    stage.order(10, "start")
    stage.session.panic(_ns(30), stage.out)
    stage.until(60)
    assert [each for each in stage.told() if not isinstance(each, str)] == [0, 20, 40, 60]
    assert stage.session.clockwork.state(_ns(60)).is_running


def test_the_end_stops_a_song() -> None:
    """And the clock."""
    stage = Stage(CLOCK + ONE)
    stage.order(10, "start")
    stage.session.leave(_ns(30), stage.out)
    stage.until(100)
    assert stage.told() == [0, "10 start", 20, "30 stop"]


def test_what_was_missed_is_skipped() -> None:
    """After a computer stood still, nobody wants all clock messages at once; the beat stays."""
    stage = Stage(CLOCK + ONE)
    stage.until(45)
    stage.session.skip_clock(_ns(60), _ns(5_005), stage.out)
    stage.until(5_045)
    assert stage.told() == [0, 20, 40, 5_020, 5_040]


def test_what_was_missed_is_skipped_while_it_follows() -> None:
    """Ours goes on in the beat, and doesn't make up for all that nobody could hear of the other clock."""
    stage = Stage(GO_ON + ONE)
    ticks(stage, steps(10, 10, 30))
    stage.session.skip_clock(stage.session.clock.due, _ns(5_005), stage.out)
    stage.until(5_025)
    assert stage.told() == [0, *steps(10, 10, 30), *[345] * 4, 5_010, 5_020]


def test_it_keeps_the_grid_for_hours() -> None:
    """At 120 BPM the clock message of an hour later is on the beat, to the nanosecond."""
    stage = Stage("[clock]\nbpm = 120\n" + ONE)
    hour = 3_600 * 1_000
    stage.until(hour)
    times = [due for _, message, due, _ in stage.out if message == b"\xf8"]
    assert len(times) == 2 * 3_600 * 24 + 1
    assert times[-1] == hour * MS
    assert all(abs(time - Fraction(500 * MS, 24) * number) <= Fraction(1, 2) for number, time in enumerate(times))
