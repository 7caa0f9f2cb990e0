"""A performance: sources that come and go, ports that return, the clock's tempo."""

from dataclasses import replace

from rules.compiler.compiler import compile_rules
from rules.engine.session import Session
from rules.rulefile.clock_table import ClockTable
from rules.rulefile.reading import read_rule_set
from rules.rulefile.ruleset import RuleSet

MS = 1_000_000
ON, OFF = bytes((0x90, 60, 100)), bytes((0x80, 60, 64))

RULES = """
[ports]
keys = { input = "Keys" }
seq = { input = "Seq" }
rack = { output = "Rack", clock = "seq" }
[devices]
organ = { port = "rack", channel = 4, setup = ["program 17"] }
[[rules]]
name = "keys"
from = "keys"
to = "organ"
[[rules]]
name = "late"
from = "seq"
steps = [{ delay = { beats = 1 } }]
to = "rack"
"""


def read(text: str) -> RuleSet:
    """The rule set of a text."""
    return read_rule_set((("rules.toml", text.encode()),)).ruleset


class Playing:
    """A session, and what came out at which time."""

    def __init__(self, text: str = RULES) -> None:
        ruleset = read(text)
        self.session = Session(ruleset, compile_rules(ruleset))
        self.out: list[tuple[int, bytes, int, int]] = []

    def arrive(self, source: str, message: bytes, now: int) -> None:
        """A message from a source."""
        self.session.arrive(self.session.players[source], message, now, self.out)

    def take(self) -> list[tuple[bytes, int]]:
        """What came out since the last time."""
        taken = [(message, due) for _, message, due, _ in self.out]
        self.out.clear()
        return taken


def test_the_start_sends_what_devices_want() -> None:
    """Program 17 goes to the organ's channel (ruling 8)."""
    playing = Playing()
    playing.session.start(3, playing.out)
    assert playing.take() == [(bytes((0xC3, 16)), 3)]


def test_a_lost_source_lets_go_of_its_notes() -> None:
    """The note-off goes out at once."""
    playing = Playing()
    playing.arrive("keys", ON, 0)
    playing.take()
    playing.session.lose(playing.session.players["keys"], 7, playing.out)
    assert playing.take() == [(bytes((0x83, 60, 64)), 7)]


def test_a_source_that_falls_silent_after_active_sensing_is_lost_at_its_time() -> None:
    """Half a second after it was heard last, whenever somebody looks (ruling 27)."""
    playing = Playing()
    playing.arrive("keys", b"\xfe", 0)
    playing.arrive("keys", ON, 100 * MS)
    assert [message for message, _ in playing.take()] == [bytes((0x93, 60, 100))]
    playing.session.advance(599 * MS, playing.out)
    assert playing.take() == []
    playing.session.advance(700 * MS, playing.out)
    assert playing.take() == [(bytes((0x83, 60, 64)), 600 * MS)]


def test_active_sensing_is_never_passed_on() -> None:
    """It only promises (ruling 27)."""
    playing = Playing()
    playing.arrive("seq", b"\xfe", 0)
    assert playing.take() == []


def test_beats_follow_the_clock_that_arrives() -> None:
    """At 60 beats a minute a note comes a second later, not half a second as the rule file's tempo would have it."""
    playing = Playing()
    last = 0
    for tick in range(25):
        last = tick * 1_000 * MS // 24
        playing.arrive("seq", b"\xf8", last)
    assert len(playing.take()) == 25
    playing.arrive("seq", ON, last)
    playing.session.advance(last + 1_100 * MS, playing.out)
    [(message, due)] = playing.take()
    assert message == ON
    assert abs(due - last - 1_000 * MS) <= 20


def clocks(playing: Playing, ms: int, count: int, begin: int) -> int:
    """So many clocks from "seq", so many ms apart; return when (ms) the next one would come."""
    for tick in range(count):
        playing.arrive("seq", b"\xf8", (begin + tick * ms) * MS)
    return begin + count * ms


def notes(playing: Playing) -> list[tuple[bytes, int]]:
    """What came out since the last time but for clocks, with its time in ms."""
    return [(message, round(due / MS)) for message, due in playing.take() if message[0] < 0xF8]


def test_what_is_pending_follows_the_tempo_that_is_set() -> None:
    """Of a beat at 120, half is over when 60 begins: the rest takes 500 ms. What is due by then goes first."""
    playing = Playing()
    playing.arrive("seq", ON, 0)
    playing.arrive("seq", OFF, 100 * MS)
    playing.session.set_tempo(60, 250 * MS, playing.out)
    assert notes(playing) == []
    assert playing.session.next_due == 750 * MS
    playing.session.advance(900 * MS, playing.out)
    assert notes(playing) == [(ON, 750)]
    playing.session.set_tempo(600, 960 * MS, playing.out)
    assert notes(playing) == [(OFF, 950)]


def test_what_is_pending_follows_a_clock_that_changes_its_pace() -> None:
    """It runs at 125 BPM, then at 62.5. The note came with the last clock of the old pace, a beat late.

    The first clock of that is no more off than a blurred one; with the six behind it the tempo is told, and what was
    over by then was over by the old one.
    """
    playing = Playing()
    begin = clocks(playing, 20, 48, 0)
    playing.arrive("seq", ON, begin * MS)
    clocks(playing, 40, 48, begin + 20)
    playing.session.advance(10_000 * MS, playing.out)
    told = 20 + 6 * 40
    left = 1 - told / 480
    assert notes(playing) == [(ON, round(begin + told + left * 960))]


def test_what_is_pending_keeps_the_tempo_of_a_clock_that_stops() -> None:
    """And of one that begins again at its pace."""
    playing = Playing()
    begin = clocks(playing, 40, 48, 0)
    playing.arrive("seq", ON, begin * MS)
    clocks(playing, 40, 6, begin + 700)
    playing.session.advance(10_000 * MS, playing.out)
    assert notes(playing) == [(ON, begin + 960)]


def test_our_own_tempo_moves_nothing_while_a_clock_runs() -> None:
    """Half a second after its last clock it moves what is pending."""
    playing = Playing()
    begin = clocks(playing, 40, 48, 0)
    playing.arrive("seq", ON, begin * MS)
    playing.session.set_tempo(240, (begin + 40) * MS, playing.out)
    assert playing.session.next_due == (begin + 960) * MS
    playing.session.set_tempo(240, (begin + 480) * MS, playing.out)
    assert playing.session.next_due == (begin + 480 + 125) * MS


def test_what_is_pending_follows_the_tempo_of_new_rules() -> None:
    """If it is another one than that of the rules before, which may have been set since."""
    playing = Playing()
    playing.arrive("seq", ON, 0)
    rules = playing.session.ruleset
    playing.session.replace(replace(rules, clock=ClockTable(bpm=60)), playing.session.pipeline, 250 * MS, playing.out)
    assert playing.session.next_due == 750 * MS
    playing.session.set_tempo(120, 250 * MS, playing.out)
    playing.session.replace(replace(rules, clock=ClockTable(bpm=60)), playing.session.pipeline, 250 * MS, playing.out)
    assert playing.session.next_due == 500 * MS


def test_an_output_that_returns_begins_in_silence() -> None:
    """Every channel's notes and pedals end, then come the messages that its devices want (ruling 8)."""
    playing = Playing()
    playing.session.return_output("rack", 9, playing.out)
    messages = [message for message, _ in playing.take()]
    assert messages[-1] == bytes((0xC3, 16))
    assert {message[0] & 0x0F for message in messages if message[1] == 123} == set(range(16))


def test_new_rules_send_only_what_new_devices_want() -> None:
    """An organ that was there before isn't set up again."""
    playing = Playing()
    changed = read(
        RULES.replace(
            '["program 17"] }', '["program 17"] }\nbass = { port = "rack", channel = 2, setup = ["program 33"] }'
        )
    )
    pipeline = compile_rules(changed, playing.session.pipeline.ports)
    playing.session.replace(changed, pipeline, 5, playing.out)
    assert playing.take() == [(bytes((0xC1, 32)), 5)]


def test_new_rules_bring_new_sources() -> None:
    """A port that only the new rules know plays at once."""
    playing = Playing()
    changed = read(
        RULES.replace('keys = { input = "Keys" }', 'keys = { input = "Keys" }\npads = { input = "Pads" }').replace(
            'from = "keys"', 'from = ["keys", "pads"]'
        )
    )
    playing.session.replace(changed, compile_rules(changed, playing.session.pipeline.ports), 5, playing.out)
    playing.arrive("pads", ON, 6)
    assert playing.take() == [(bytes((0x93, 60, 100)), 6)]


def test_leaving_ends_what_sounds_and_what_waits() -> None:
    """The note-off of a delayed note that sounds goes out now; a note still to come never does (ruling 22)."""
    playing = Playing()
    playing.arrive("seq", ON, 0)
    playing.session.advance(600 * MS, playing.out)
    playing.arrive("seq", bytes((0x90, 62, 100)), 600 * MS)
    playing.arrive("keys", ON, 600 * MS)
    playing.take()
    playing.session.leave(700 * MS, playing.out)
    assert sorted(message for message, _ in playing.take()) == [OFF, bytes((0x83, 60, 64))]


def test_the_outputs_are_those_of_the_rules_in_force() -> None:
    """One that new rules no longer have keeps its number, and counts no more."""
    playing = Playing()
    assert playing.session.outputs == ["rack"]
    changed = read(RULES.replace("rack", "box"))
    playing.session.replace(changed, compile_rules(changed, playing.session.pipeline.ports), 5, playing.out)
    assert (playing.session.outputs, playing.session.pipeline.ports) == (["box"], ("rack", "box"))


def test_a_panic_reaches_every_channel() -> None:
    """Sixteen channels of the one output get all notes off (ruling 17)."""
    playing = Playing()
    playing.session.panic(1, playing.out)
    assert sum(message[1:] == bytes((123, 0)) for message, _ in playing.take()) == 16


PEDAL_RULES = """
[ports]
keys = { input = "Keys" }
rack = { output = "Rack" }
[[rules]]
name = "first"
from = "keys"
to = "rack"
[[rules]]
name = "late"
from = "keys"
match = { controller = "sustain" }
steps = [{ delay = { ms = 5 } }]
to = "rack"
"""


def test_a_pedal_is_let_go_by_rules_that_are_gone() -> None:
    """It was pressed through the second rule of two, and there is only one by now."""
    playing = Playing(PEDAL_RULES)
    playing.arrive("keys", bytes((0xB0, 64, 127)), 0)
    playing.session.advance(10 * MS, playing.out)
    playing.take()
    fewer = read(
        PEDAL_RULES.partition("[[rules]]")[0] + '[[rules]]\nname = "none"\nfrom = "keys"\nmatch = '
        '{ kind = "note" }\nto = "rack"'
    )
    pipeline = compile_rules(fewer, playing.session.pipeline.ports)
    playing.session.replace(fewer, pipeline, 20 * MS, playing.out)
    playing.arrive("keys", bytes((0xB0, 64, 0)), 30 * MS)
    playing.session.advance(50 * MS, playing.out)
    assert (bytes((0xB0, 64, 0)), 35 * MS) in playing.take()


def test_a_take_and_the_keyboard_are_two_hands() -> None:
    """The note of both ends once, with the last of them; and the take's own with the take (ruling 37)."""
    playing = Playing()
    session = playing.session
    number = session.begin_take("keys", 0, playing.out)
    assert session.player_names == ("keys", "seq", "keys")
    session.arrive(number, ON, 1, playing.out)
    playing.arrive("keys", ON, 2)
    playing.take()
    session.end_take(number, 3, playing.out)
    assert playing.take() == []
    playing.arrive("keys", OFF, 4)
    assert playing.take() == [(bytes((0x83, 60, 64)), 4), (bytes((0x83, 60, 64)), 4)]


def test_the_next_take_is_played_by_the_same_player() -> None:
    """Numbers are bounded, however many takes an evening has; also where the input has another name by then."""
    playing = Playing()
    session = playing.session
    number = session.begin_take("keys", 0, playing.out)
    session.end_take(number, 1, playing.out)
    renamed = read(RULES.replace("keys =", "piano =").replace('from = "keys"', 'from = "piano"'))
    session.rename("keys", "piano")
    session.replace(renamed, compile_rules(renamed, session.pipeline.ports), 2, playing.out)
    assert session.begin_take("piano", 3, playing.out) == number
    session.arrive(number, ON, 4, playing.out)
    assert playing.take() == [(bytes((0x93, 60, 100)), 4)]


def test_a_session_that_goes_on_knows_its_takes() -> None:
    """A journal without its beginning says which players are takes."""
    ruleset = read(RULES)
    session = Session(ruleset, compile_rules(ruleset), known=("keys", "keys", "seq"), known_takes={1})
    assert (session.players, session.takes) == ({"keys": 0, "seq": 2}, {"keys": 1})


def test_what_a_take_holds_ends_as_the_session_does() -> None:
    """Nothing sounds after the end."""
    playing = Playing()
    session = playing.session
    session.arrive(session.begin_take("keys", 0, playing.out), ON, 1, playing.out)
    playing.take()
    session.leave(2, playing.out)
    assert playing.take() == [(bytes((0x83, 60, 64)), 2)]
