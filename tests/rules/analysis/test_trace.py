"""The story of a message: what it says, and that it ends where the engine ends."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from rules.analysis.trace import trace
from rules.compiler.compiler import compile_rules
from rules.engine.engine import Engine
from rules.midi.messages import CONTROLLER
from rules.midi.notation import STANDARD, Naming, parse_whole_message
from rules.program.pipeline import Pipeline
from rules.program.switch_states import State
from rules.rulefile.reading import read_rules
from rules.timing.delays import steady_nanoseconds
from tests.support.performance_strategies import messages
from tests.support.rule_strategies import rule_files, toml_of

PORTS = "[ports]\nkeys = { input = true }\nrack = { output = true }\n"
SWITCHES = """
[devices]
organ = { port = "rack", channel = 4 }
[switches]
up   = { from = "keys", controller = "soft pedal", mode = "momentary" }
loud = { from = "keys", note = "C1" }
song = { values = ["verse", "chorus"], set = [{ from = "keys", program = 3, value = "chorus" }] }
key  = { numbers = "-2..2", advance = [{ from = "keys", note = "D1", by = 3, pass_on = true }] }
[[on_switch]]
when = "song = chorus or loud"
send   = { organ = "program 49", rack = ["note-on 2 C4 90"] }
[[rules]]
from = "keys"
to   = "rack"
steps = [{ transpose = "key" }]
"""


def story(rules: str, message: str, naming: Naming = STANDARD, **switches: State) -> list[str]:
    """The lines of a trace from the port "keys", indented by two spaces a level."""
    ruleset = read_rules([("rules.toml", rules.encode())])
    lines = trace(ruleset, "keys", parse_whole_message(message, naming), switches, naming)
    return ["  " * line.depth + line.text for line in lines]


def test_zones_are_told_by_their_names() -> None:
    """Where a zone has none, by its number."""
    zones = '[[rules.zones]]\nname = "left hand"\nnotes = "..B3"\n[[rules.zones]]\nnotes = "C4.."\n'
    told = story(f'{PORTS}[[rules]]\nname = "split"\nfrom = "keys"\nto = "rack"\n{zones}', "note-on 1 C4 100")
    assert [line for line in told if "zone" in line] == [
        'rule "split", zone "left hand": not in this zone: it wants notes ..B3, this is C4',
        'rule "split", zone 2: matches',
    ]


def step_story(step: str, message: str = "note-on 1 C4 100", head: str = "", naming: Naming = STANDARD) -> str:
    """What is told of one step."""
    lines = story(f'{head}{PORTS}[[rules]]\nfrom = "keys"\nto = "rack"\nsteps = [{step}]\n', message, naming)
    return lines[1].strip()


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ('{ filter = { keep = { notes = "C4.." } } }', "filter keep notes C4.."),
        ('{ filter = { keep = { notes = ["..B3", "C4..B4"] } } }', "filter keep notes ..B4"),
        ('{ filter = { drop = { controller = ["sustain", 20] } } }', "filter drop controller 20, sustain"),
        (
            '{ filter = { drop = { controller = "volume", value = "64.." } } }',
            "filter drop controller volume and value 64..",
        ),
        (
            '{ filter = { keep = [{ kind = "note", channel = [1, 2] }, { program = 3 }], drop = { velocity = 1 } } }',
            "filter keep kind note and channels 1..2 or program 3, drop velocity 1",
        ),
        (
            '{ filter = { drop = { kind = "pitch-bend", value = "..-1" } } }',
            "filter drop kind pitch-bend and value ..-1",
        ),
        ("{ velocity = { points = [[1, 20], [127, 120]] } }", "velocity 1 to 20, 127 to 120"),
        ("{ velocity = { quieter = 0.5 } }", "velocity quieter by 0.5"),
        ("{ velocity = { louder = 1, channel = 1 } }", "velocity louder by 1, only channel 1"),
        ("{ velocity = 100 }", "velocity fixed at 100"),
        ('{ velocity = { limit = "30..100", release = true } }', "velocity limited to 30..100, releases too"),
        ('{ velocity = { scale_to = "20..127" } }', "velocity scaled to 20..127"),
        ("{ velocity = { percent = 80 } }", "velocity 80 percent"),
        ("{ velocity = { percent = 80, add = 5 } }", "velocity 80 percent +5"),
        ("{ velocity = { add = -5 } }", "velocity -5"),
        ('{ map = { notes = { "C4" = "E4" } } }', "map notes C4 to E4"),
        (
            '{ map = { controllers = { mod = 20 }, others = "drop" } }',
            "map controllers modulation to 20, others dropped",
        ),
        ("{ map = { programs = { 1 = 5 } } }", "map programs 1 to 5"),
        ('{ map = { from = "note C4", to = "controller volume" } }', "map note C4 to controller volume"),
        (
            '{ map = { from = "controller mod", to = "pitch-bend", out = "0..8191", bits = 14 } }',
            "map controller modulation to pitch-bend, 0..16383 onto 0..8191, 14 bits",
        ),
        ("{ rechannel = { 1 = 4, 2 = 5 } }", "rechannel 1 to 4, 2 to 5"),
        ("{ rechannel = 4 }", "rechannel to 4"),
        ("{ transpose = { by = -12, except_channels = 10 } }", "transpose by -12, but for channel 10"),
        ("{ delay = 250 }", "delay of 250 ms"),
        ("{ echo = { beats = 0.5, times = 3 } }", "echo, 3 times, every 1/2 beats, each 30 percent quieter"),
        ("{ echo = { ms = 40, decay = 0, transpose = 12 } }", "echo, once, after 40 ms, each +12 semitones"),
        ("{ length = { beats = 0.5 } }", "length of 1/2 beats"),
        ("{ latch = true }", "latch until the next key"),
        ('{ latch = { until = "again" } }', "latch until the same key again"),
        ('{ snap = ["G", "C", "Eb"] }', "snap to C, D#, G"),
        ('{ snap = { pitches = ["C"], others = "drop" } }', "snap to C, others dropped"),
        ("{ chord = [0, -12, 7] }", "chord of 0 -12 +7"),
        ("{ chord = { keys = { C4 = [0, 4, 7] } } }", "chord of 0; C4 0 +4 +7"),
        ("{ thin = 20 }", "thin to one value each 20 ms"),
        ('{ send = ["start", "note-on C4 100"] }', "send start, note-on C4 100"),
    ],
)
def test_steps_are_told_in_the_words_of_the_rule_file(step: str, words: str) -> None:
    """A step is told by its key and what it was given, ranges and names as a musician writes them."""
    assert step_story(step).startswith(f"{words}: ")


def test_the_end_that_a_step_gives_a_note_is_told() -> None:
    """A note that lasts a fixed time is told with its note-off, and when that goes out."""
    told = step_story("{ length = 120 }")
    assert told.endswith(": note-on 1 C4 100, note-off 1 C4 64, 120 ms later")


def test_long_tables_are_cut() -> None:
    """Of a map of many notes the beginning is told, and how much more there is."""
    table = ", ".join(f"{key} = {key + 1}" for key in range(40))
    assert "G-1 to G#-1 and 32 more: passes unchanged" in step_story(f"{{ map = {{ notes = {{ {table} }} }} }}")


def test_notes_and_programs_are_named_as_in_the_file() -> None:
    """Where middle C is C3 and programs count from 0, steps are told so too."""
    naming = Naming(middle_c=3, first_program=0)
    head = 'middle_c = "C3"\nfirst_program = 0\n'
    for step, words in (
        ('{ filter = { keep = { notes = "C3..B3" } } }', "filter keep notes C3..B3"),
        ('{ filter = { keep = [{ program = 0 }, { kind = "note" }] } }', "filter keep program 0 or kind note"),
        ('{ map = { notes = { "C3" = "E3" } } }', "map notes C3 to E3"),
        ('{ send = ["note-on C3 100", "program 0"] }', "send note-on C3 100, program 0"),
    ):
        assert step_story(step, "note-on 1 C3 100", head, naming).startswith(f"{words}: ")


@pytest.mark.parametrize(
    ("message", "switches", "first"),
    [
        ("controller 1 soft-pedal 127", {}, 'sets the switch "up" to on, and is not passed on'),
        ("controller 1 soft-pedal 0", {"up": True}, 'sets the switch "up" to off, and is not passed on'),
        ("controller 1 soft-pedal 0", {}, 'leaves the switch "up" at off, and is not passed on'),
        ("note-on 1 C1 100", {}, 'toggles the switch "loud" to on, and is not passed on'),
        ("note-on 1 C1 100", {"loud": True}, 'toggles the switch "loud" to off, and is not passed on'),
        ("note-off 1 C1 0", {}, 'leaves the switch "loud" at off, and is not passed on'),
        ("program 1 3", {}, 'sets the switch "song" to chorus, and is not passed on'),
        ("program 1 3", {"song": "chorus"}, 'leaves the switch "song" at chorus, and is not passed on'),
        ("note-on 1 D1 100", {"key": -2}, 'advances the switch "key" by +3 to 1, and passes on'),
        ("note-on 1 D1 100", {"key": 1}, 'advances the switch "key" by +3 to 2, and passes on'),
    ],
)
def test_a_switch_is_told_with_what_it_turns_to(message: str, switches: dict[str, Any], first: str) -> None:
    """A message that turns a switch is told by how it turns and where it stands then."""
    assert story(PORTS + SWITCHES, message, **switches)[0] == first


def test_what_a_switch_sends_is_told() -> None:
    """When a condition becomes true its messages are told, each on the channel of its device."""
    assert story(PORTS + SWITCHES, "program 1 3")[1:] == [
        "  now song = chorus or loud, which sends:",
        "    to port rack: program 4 49",
        "    to port rack: note-on 2 C4 90",
    ]


def test_what_a_switch_sends_twice_goes_out_twice() -> None:
    """Two messages alike in an `[[on_switch]]` are meant: they are no copies of one that came in."""
    rules = PORTS + SWITCHES.replace('["note-on 2 C4 90"]', '["start", "start"]')
    assert story(rules, "program 1 3")[-2:] == ["    to port rack: start"] * 2


def test_a_condition_that_held_before_sends_nothing() -> None:
    """Only becoming true sends."""
    assert len(story(PORTS + SWITCHES, "program 1 3", loud=True)) == 1


def test_what_passes_a_switch_meets_it_turned() -> None:
    """The rules that come after see the switch as the message left it."""
    lines = story(PORTS + SWITCHES, "note-on 1 D1 100")
    assert lines[-1].strip() == "arrives at port rack: note-on 1 E1 100"


def test_a_message_that_two_rules_send_alike_goes_out_once() -> None:
    """The second time it is told that it went there already, and it counts once."""
    twice = PORTS + '[[rules]]\nfrom = "keys"\nto = "rack"\n' * 2
    ruleset = read_rules([("rules.toml", twice.encode())])
    lines = trace(ruleset, "keys", bytes((0x90, 60, 100)))
    assert lines[-1].text == "arrives at port rack: note-on 1 C4 100: already sent there, so it goes out once"
    assert [line.outcomes for line in lines if line.outcomes] == [(("rack", bytes((0x90, 60, 100))),)]


def test_clock_is_told_by_port() -> None:
    """Clock goes past all rules, to the ports that this source plays."""
    rules = PORTS + '[[rules]]\nfrom = "keys"\nto = "rack"\n'
    told = ["clock and transport go by port", "  arrives at port rack: clock"]
    assert story(rules, "clock")[:2] == told


BOTH = PORTS + 'seq = { input = true }\nbox = { output = true }\n[[rules]]\nfrom = ["keys", "seq"]\nto = "rack"\n'


@pytest.mark.parametrize(
    ("rules", "message", "reason"),
    [
        (BOTH, "start", 'the clock of port rack could come from "keys" or "seq": set clock = "keys" on port rack'),
        (
            BOTH.replace("true }\nseq", 'true, clock = "seq" }\nseq'),
            "clock",
            'no port takes clock and transport from "keys": set clock = "keys" on port rack or box',
        ),
        (BOTH, "reset", "a system reset goes only to ports that ask for it: write `pass_reset = true` on the port"),
        (BOTH.replace('["keys", "seq"]', '"seq"'), "note-on 1 C4 100", 'no rule has `from = "keys"`'),
    ],
)
def test_what_goes_nowhere_is_told_with_the_remedy(rules: str, message: str, reason: str) -> None:
    """Clock and transport go by port, so it is a port that lacks a line, not a rule (ruling 26)."""
    assert story(rules, message)[-1] == f"goes nowhere: {reason}"


def engine_sends(
    pipeline: Pipeline, source: str, message: bytes, switches: dict[str, State]
) -> list[tuple[str, bytes]]:
    """What a fresh engine with these switches sends for one message, at once or later."""
    engine = Engine(pipeline, steady_nanoseconds(120))
    out: list[tuple[int, bytes, int, int]] = []
    engine.restore(switches)
    engine.feed(engine.add_player(source), message, 0, out)
    engine.advance(10**15, out)
    return sorted({(pipeline.ports[port], bytes(sent)) for port, sent, *_ in out})


IN_GROUPS = {0, 32, 6, 38, 96, 97, 98, 99, 100, 101}
"""Bank select and parameters: an output that several sources share may keep one of them until the rest has come."""


def is_whole(outcome: tuple[str, bytes]) -> bool:
    """Whether a message waits for no other."""
    message = outcome[1]
    return message[0] & 0xF0 != CONTROLLER or message[1] not in IN_GROUPS


SETTINGS: dict[str, list[State]] = {"up": [False, True], "song": ["verse", "chorus"], "key": [0, 1]}


@settings(
    max_examples=25,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(st.data())
def test_a_trace_ends_where_the_engine_ends(data: st.DataObject) -> None:
    """Port and bytes of all that arrives by the story are what a fresh engine sends for the message."""
    file = data.draw(rule_files(most_rules=2), label="rule file")[0]
    ruleset = read_rules([("rules.toml", toml_of(file).encode())])
    pipeline = compile_rules(ruleset)
    source = data.draw(st.sampled_from([name for name, port in ruleset.ports.items() if port.can_receive]))
    switches = {name: data.draw(st.sampled_from(SETTINGS[name]), label=name) for name in ruleset.switches}
    for text in data.draw(st.lists(messages(), min_size=3, max_size=10), label="messages"):
        if text.startswith("F7"):  # a packet of a file, which nobody can send
            continue
        message = parse_whole_message(text)
        told = trace(ruleset, source, message, switches)
        arrives = sorted({outcome for line in told for outcome in line.outcomes})
        sends = engine_sends(pipeline, source, message, switches)
        assert [*filter(is_whole, arrives)] == [*filter(is_whole, sends)], (text, told)


@pytest.mark.parametrize(
    ("outside", "high"),
    [
        ("drop", ["    outside the notes of the device: dropped"]),
        (
            "octave",
            ["    outside the notes of the device: note-on 1 C5 90", "    arrives at port rack: note-on 4 C5 90"],
        ),
    ],
)
def test_notes_that_a_device_lacks_are_pointed_out(outside: str, high: list[str]) -> None:
    """And only those: a note that it has arrives without a word about them."""
    rules = (
        f'{PORTS}[devices]\norgan = {{ port = "rack", channel = 4, notes = "C3..C5", outside = "{outside}" }}\n'
        '[[rules]]\nfrom = "keys"\nto = "organ"\n'
    )
    assert story(rules, "note-on 1 C4 90")[2:] == ["    arrives at port rack: note-on 4 C4 90"]
    assert story(rules, "note-on 1 C7 90")[2:] == high


OWN = """
[ports]
keys = { input = true }
rack = { output = true, clock = "own" }
box = { output = true }
[clock]
follow = "keys"
[switches]
up = { from = "keys", note = "C1" }
[[on_switch]]
when = "up"
bpm = 96
do = "clock start"
"""


def test_our_clock_follows_a_source() -> None:
    """Its clock and transport go to the ports that hear ours."""
    assert story(OWN, "start") == ["your clock follows keys", "  arrives at port rack: start"]
    assert story(OWN.replace('"own"', '"none"'), "start") == [
        'goes nowhere: your clock follows keys, and no port hears it: write clock = "own" on the port'
    ]


def test_a_switch_sets_the_tempo() -> None:
    """And asks our clock for something."""
    assert story(OWN, "note-on 1 C1 9") == [
        'toggles the switch "up" to on, and is not passed on',
        "  now up",
        "    sets the tempo to 96 BPM",
        "    asks for: clock start",
    ]


def test_a_pad_moves_our_clock() -> None:
    """What it asks for is told; it goes no further."""
    pads = OWN.replace(
        'follow = "keys"', 'start = { from = "keys", note = "D1" }\ntap = { from = "keys", note = "E1" }'
    )
    assert story(pads, "note-on 1 D1 9") == ["starts your clock, and is not passed on"]
    assert story(pads, "note-on 1 E1 9") == ["taps the tempo, and is not passed on"]


LONG = """
[switches.song]
values = ["verse", "chorus", "end"]
advance = [
  { from = "keys", note = "C1" },
  { from = "keys", note = "C1", by = -1, long = 600, pass_on = true },
]
[[on_switch]]
when = "song = chorus"
send = { rack = "program 1 2" }
[[on_switch]]
when = "song = end"
send = { rack = "program 1 3" }
"""


def test_a_press_is_told_with_when_it_acts() -> None:
    """Let go in time, or held: what each would send is told, but only the long one is sure to come from the press."""
    assert story(PORTS + LONG, "note-on 1 C1 100") == [
        'when let go within 600 ms: advances the switch "song" by +1 to chorus, and is not passed on',
        "  now song = chorus, which sends:",
        "    to port rack: program 1 2",
        'when held for 600 ms: advances the switch "song" by -1 to end, and passes on',
        "  now song = end, which sends:",
        "    to port rack: program 1 3",
    ]
    lines = trace(read_rules([("rules.toml", (PORTS + LONG).encode())]), "keys", bytes((0x90, 24, 100)))
    assert [(line.outcomes, line.late) for line in lines if line.depth == 2] == [
        ((), True),
        ((("rack", bytes((0xC0, 2))),), True),
    ]


def test_a_release_by_itself_turns_nothing() -> None:
    """It is told what it may end."""
    assert story(PORTS + LONG, "note-off 1 C1 0") == [
        'leaves the switch "song" at verse, unless it ends a press of less than 600 ms, and is not passed on',
        'leaves the switch "song" at verse, and passes on',
    ]


def test_rules_see_a_long_press_before_it_acts() -> None:
    """They are told by the switch as it is when the press comes."""
    rules = (
        PORTS + '[switches]\nup = { from = "keys", note = "C1", long = 300, pass_on = true }\n'
        '[[rules]]\nname = "one"\nfrom = "keys"\nwhen = "up"\nto = "rack"\n'
    )
    assert story(rules, "note-on 1 C1 100")[:2] == [
        'when held for 300 ms: toggles the switch "up" to on, and passes on',
        'rule "one": not now, it waits for up',
    ]
