"""Takes: a journal becomes a .mid file that other programs read as what was played."""

from hypothesis import given
from hypothesis import strategies as st

import rules.journal.format as journal
from rules.journal.export import Take, make_take
from rules.journal.format import IN, LEFT, LOST, NAMES, OUT, RECORDED, RULES, TRIMMED, WALL, Names, Record, pack
from rules.midi.messages import ACTIVE_SENSING, CLOCK, START, STOP
from rules.timing.active_sensing import PATIENCE_NS
from tests.support import mido_reader
from tests.support.midicsv import Event, events

MS = 1_000_000
NAMED: Record = (NAMES, 0, 0, journal.names_data(Names(("keys", "seq"), ("rack1",))))
ON, OFF = bytes((0x90, 60, 100)), bytes((0x80, 60, 31))
TICK = bytes((CLOCK,))


def take_of(*records: Record) -> Take:
    """The take of a journal with named ports."""
    return make_take(b"".join(map(pack, (NAMED, *records))))


def told(take: Take, track: int) -> list[Event]:
    """What midicsv reads in a track; mido has to read the same in the whole file."""
    found = events(take.data)
    assert mido_reader.events(take.data) == found
    return [event for event in found if event.track == track]


def test_each_port_has_a_track_of_its_own() -> None:
    """Inputs first, then outputs, called as in the rule file; a silent port has none."""
    take = take_of((IN, 0, 0, ON), (OUT, 0, 0, bytes((0x93, 72, 90))), (IN, 500 * MS, 0, OFF))
    found = events(take.data)
    assert found[0].data == (1, 3, 960)
    titles = [(event.track, event.data) for event in found if event.kind == "Title_t"]
    assert titles == [(2, (b"keys in",)), (3, (b"rack1 out",))]
    assert [(track.name, track.messages) for track in take.tracks] == [("keys in", 2), ("rack1 out", 1)]


def test_messages_stand_at_their_time() -> None:
    """At our own 120 BPM half a second is 960 ticks; a note-off keeps its form and velocity."""
    take = take_of((IN, 3000 * MS, 0, ON), (IN, 3500 * MS, 0, OFF), (IN, 3750 * MS, 0, bytes((0x90, 61, 0))))
    assert told(take, 2)[2:-1] == [
        Event(2, 0, "Note_on_c", 1, (60, 100)),
        Event(2, 960, "Note_off_c", 1, (60, 31)),
        Event(2, 1440, "Note_on_c", 1, (61, 0)),
    ]
    assert take.seconds == 0.75


def test_the_rule_files_say_the_tempo() -> None:
    """With bpm = 60 a second is a quarter note."""
    rules = journal.rules_data((("pit.toml", b"clock.bpm = 60\n"),))
    take = take_of((RULES, 0, 0, rules), (IN, 0, 0, ON), (IN, 1000 * MS, 0, OFF))
    assert [event.data for event in told(take, 1) if event.kind == "Tempo"] == [(1_000_000,)]
    assert [event.tick for event in told(take, 2) if event.kind == "Note_off_c"] == [960]


def test_rules_that_cannot_be_read_any_more_cost_no_take() -> None:
    """The music is kept, at 120 BPM."""
    take = take_of((RULES, 0, 0, journal.rules_data((("pit.toml", b"nonsense = 1"),))), (IN, 0, 0, ON))
    assert [event.data for event in told(take, 1) if event.kind == "Tempo"] == [(500_000,)]


def test_a_clock_puts_its_beats_on_the_grid() -> None:
    """Start and stop are markers, the tempo is the clock's (100 BPM), and a note on the second beat lies there."""
    clock = [(IN, 40 * MS + number * 25 * MS, 1, TICK) for number in range(97)]
    records = [(IN, 30 * MS, 1, bytes((START,))), *clock, (IN, 640 * MS, 0, ON), (IN, 2500 * MS, 1, bytes((STOP,)))]
    take = take_of(*sorted(records, key=lambda record: record[1]), (LEFT, 2600 * MS, 0, b""))
    conductor = told(take, 1)
    bar = 4 * 960
    assert [(event.tick, event.data) for event in conductor if event.kind == "Tempo"][1:] == [(bar, (600_000,))]
    assert [event.data for event in conductor if event.kind == "Marker_t"] == [(b"start",), (b"stop",)]
    assert [event.tick for event in told(take, 2) if event.kind == "Note_on_c"] == [bar + 960]


def test_our_own_clock_counts_before_that_of_an_input() -> None:
    """Where an output hears it: its tempo (100 BPM) and its start, though an input sends a clock as well."""
    ports = "clock.bpm = 90\n[ports]\nkeys = { input = true }\nseq = { input = true }\n"
    own = journal.rules_data((("pit.toml", f'{ports}rack1 = {{ output = true, clock = "own" }}\n'.encode()),))
    clock = [(OUT, 40 * MS + number * 25 * MS, 0, TICK) for number in range(97)]
    other = [(IN, 35 * MS + number * 20 * MS, 1, TICK) for number in range(120)]
    records = [(OUT, 30 * MS, 0, bytes((START,))), *clock, *other, (IN, 640 * MS, 0, ON), (IN, 700 * MS, 0, OFF)]
    take = take_of((RULES, 0, 0, own), *sorted(records, key=lambda record: record[1]), (LEFT, 2600 * MS, 0, b""))
    conductor = [event for event in mido_reader.events(take.data) if event.track == 1]
    assert [event.data for event in conductor if event.kind == "Tempo"][1:] == [(600_000,)]
    assert [event.data for event in conductor if event.kind == "Marker_t"] == [(b"start",)]
    unheard = own.replace(b"own", b"none")
    take = take_of((RULES, 0, 0, unheard), *sorted(records, key=lambda record: record[1]))
    conductor = [event for event in mido_reader.events(take.data) if event.track == 1]
    assert [event.data for event in conductor if event.kind == "Tempo"][1:] == [(480_000,)]


def test_what_belongs_to_the_moment_stays_out_of_the_file() -> None:
    """Real-time messages, time code, song position and select, reset: nothing of them is written, not even FF."""
    moments = [bytes((status,)) for status in (0xF6, 0xF8, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF)]
    moments += [bytes((0xF1, 3)), bytes((0xF2, 1, 2)), bytes((0xF3, 4))]
    take = take_of(*((IN, number * MS, 0, message) for number, message in enumerate(moments)))
    assert [event.kind for event in events(take.data)] == ["Header", "Start_track", "Tempo", "End_track", "End_of_file"]
    assert take.messages == 0


def test_sysex_is_kept_whole() -> None:
    """Long ones too."""
    long = b"\xf0" + bytes(range(128)) * 120 + b"\xf7"
    take = take_of((IN, 0, 0, b"\xf0\x43\x12\x00\xf7"), (IN, MS, 0, long))
    found = [event.data for event in told(take, 2) if event.kind == "System_exclusive"]
    assert found == [(4, 0x43, 0x12, 0, 0xF7), (len(long) - 1, *long[1:])]


def test_what_is_still_held_is_let_go_at_the_end() -> None:
    """A recording never holds a stuck note or pedal; how many there were is told."""
    pedal = bytes((0xB4, 64, 127))
    take = take_of((IN, 0, 0, ON), (IN, 0, 0, ON), (IN, 0, 0, pedal), (LEFT, 500 * MS, 0, b""))
    assert [event[1:] for event in told(take, 2)[-4:]] == [
        (0, "Control_c", 5, (64, 127)),
        (960, "Note_off_c", 1, (60, 64)),
        (960, "Control_c", 5, (64, 0)),
        (960, "End_track", None, ()),
    ]
    assert take.held == 2


def test_a_key_that_was_struck_twice_and_let_go_once_is_not_held() -> None:
    """Its note-off ends both (ruling 10): the file adds none, and doesn't go on as if something sounded."""
    take = take_of(
        *((kind, time * MS, 0, message) for kind in (IN, OUT) for time, message in ((0, ON), (200, ON), (500, OFF))),
        (RECORDED, 2000 * MS, 0, TRIMMED),
    )
    assert (take.held, take.seconds) == (0, 0.5)
    for track in (2, 3):
        assert [event.kind for event in told(take, track)].count("Note_off_c") == 1


def test_all_notes_off_lets_go_of_the_notes_of_its_channel() -> None:
    """Not of the pedals, nor of other channels."""
    other, pedal = bytes((0x91, 60, 100)), bytes((0xB0, 64, 127))
    for number in (120, 123, 127):
        ends = bytes((0xB0, number, 0))
        take = take_of(*((IN, 0, 0, message) for message in (ON, other, pedal, ends)))
        assert take.held == 2
        assert [event[2:] for event in told(take, 2)[-3:-1]] == [
            ("Note_off_c", 2, (60, 64)),
            ("Control_c", 1, (64, 0)),
        ]
    assert take_of((IN, 0, 0, ON), (IN, 0, 0, bytes((0xB0, 122, 0)))).held == 1


def test_what_is_held_counts_once() -> None:
    """A key that is held is one note, however many outputs it sounds at."""
    held = ((IN, 0, 0, ON), (OUT, 0, 0, ON), (OUT, 0, 1, ON))
    assert take_of(*held).held == 1
    assert take_of(*held, (IN, MS, 0, OFF)).held == 2


def test_what_is_held_sounds_until_the_recording_ended() -> None:
    """Nothing came after the note-on, and it was held for a second and a half."""
    take = take_of((IN, 0, 0, ON), (RECORDED, 1000 * MS, 0, b""), (RECORDED, 1500 * MS, 0, b""))
    assert [(event.tick, event.kind) for event in told(take, 2)[-2:]] == [(2880, "Note_off_c"), (2880, "End_track")]
    assert take.seconds == 1.5


def test_silence_at_the_end_stays_only_where_somebody_ended_the_recording() -> None:
    """What nobody recorded on purpose ends with its last message, unless something is held."""
    released = (IN, 0, 0, ON), (IN, 500 * MS, 0, OFF)
    assert take_of(*released, (RECORDED, 2000 * MS, 0, b"")).seconds == 2.0
    assert take_of(*released, (RECORDED, 2000 * MS, 0, TRIMMED)).seconds == 0.5
    assert take_of(*released[:1], (RECORDED, 2000 * MS, 0, TRIMMED)).seconds == 2.0


def test_an_input_that_falls_silent_before_the_end_of_the_recording_is_lost_there() -> None:
    """It promised to be heard (active sensing), and its key isn't held to the end."""
    sensing = (IN, 0, 0, bytes((ACTIVE_SENSING,)))
    take = take_of((IN, 0, 0, ON), sensing, (RECORDED, 5000 * MS, 0, b""))
    assert [event.tick for event in told(take, 2) if event.kind == "Note_off_c"] == [round(PATIENCE_NS / MS * 1.92)]
    assert (take.seconds, take.held) == (5.0, 0)


def test_what_a_lost_input_held_is_let_go_where_it_was_lost() -> None:
    """A pulled cable ends its notes and pedals there and then, not those of others; the end has nothing left to do."""
    pedal = bytes((0xB4, 64, 127))
    take = take_of((IN, 0, 0, ON), (IN, 0, 0, pedal), (IN, 0, 1, ON), (LOST, 500 * MS, 0, b""), (IN, 1000 * MS, 1, OFF))
    assert [event[1:] for event in told(take, 2)[-3:]] == [
        (960, "Note_off_c", 1, (60, 64)),
        (960, "Control_c", 5, (64, 0)),
        (1920, "End_track", None, ()),
    ]
    assert [event.tick for event in told(take, 3) if event.kind == "Note_off_c"] == [1920]
    assert take.held == 0


def test_what_an_input_held_that_fell_silent_is_let_go_by_then() -> None:
    """It had promised by active sensing to be heard, so it is gone, as its outputs were told; others may be silent."""
    sensing = bytes((ACTIVE_SENSING,))
    take = take_of(
        *((IN, 0, number, ON) for number in (0, 1)),
        *((IN, 250 * MS * beat, 0, sensing) for beat in range(1, 3)),
        (LEFT, 5000 * MS, 0, b""),
    )
    lost_at = (500 * MS + PATIENCE_NS) * 960 // (500 * MS)
    assert [event.tick for event in told(take, 2) if event.kind == "Note_off_c"] == [lost_at]
    assert [event.tick for event in told(take, 3) if event.kind == "Note_off_c"] == [9600]
    assert take.held == 1


def test_an_empty_journal_is_an_empty_take() -> None:
    """A file all the same, and one that says that nothing was recorded."""
    take = make_take(b"")
    assert (take.messages, take.seconds) == (0, 0)
    assert [event.kind for event in events(take.data)][-2:] == ["End_track", "End_of_file"]


def test_a_torn_journal_gives_all_but_the_torn_message() -> None:
    """What a killed process left is saved."""
    data = b"".join(map(pack, (NAMED, (IN, 0, 0, ON), (IN, MS, 0, OFF))))
    take = make_take(data[:-1])
    assert [event.kind for event in told(take, 2)[2:]] == ["Note_on_c", "Note_off_c", "End_track"]
    assert take.held == 1


def test_the_time_on_the_wall_is_no_music() -> None:
    """A note of the time doesn't make a take longer."""
    take = take_of((IN, 0, 0, ON), (IN, MS, 0, OFF), (WALL, 9000 * MS, 0, journal.wall_data(1.8e9)))
    assert take.seconds == 0.001


def test_a_silence_of_days_fits_a_file() -> None:
    """More ticks than one number of a file can hold."""
    days = 4 * 24 * 3600 * 1000 * MS
    take = take_of((IN, 0, 0, ON), (IN, days, 0, OFF))
    assert [event.tick for event in told(take, 2) if event.kind == "Note_off_c"] == [days // (500 * MS) * 960]


CHANNEL = st.tuples(st.sampled_from([0x80, 0x90, 0x90, 0xA1, 0xB2, 0xE0]), st.integers(58, 70), st.integers(0, 127))
SHORT = CHANNEL.map(bytes) | st.tuples(st.sampled_from([0xC0, 0xD5]), st.integers(0, 127)).map(bytes)
SYSTEM = st.sampled_from([TICK, bytes((START,)), b"\xfe", b"\xf0\x01\xf7", b"\xff"])
STEPS = st.tuples(st.integers(0, 40 * MS), st.sampled_from([IN, IN, OUT, OUT, LOST]), st.integers(0, 3), SHORT | SYSTEM)


@given(st.lists(STEPS, max_size=80))
def test_both_readers_see_every_message_and_no_stuck_note(steps: list[tuple[int, int, int, bytes]]) -> None:
    """Any performance: each channel message and sysex once, in order, and every note has its note-off."""
    records: list[Record] = []
    time = 0
    for wait, kind, number, message in steps:
        time += wait
        records.append((kind, time, number, message))
    take = take_of(*records)
    found = mido_reader.events(take.data)
    kept = [record for record in records if record[0] != LOST and record[3][0] <= 0xF0]
    assert take.messages == len(kept)
    for track in range(2, len(take.tracks) + 2):
        sounding: set[tuple[int | None, int | bytes]] = set()
        for event in found:
            if event.track == track and event.kind.startswith("Note"):
                key = (event.channel, event.data[0])
                starts = event.kind == "Note_on_c" and event.data[1] != 0
                (sounding.add if starts else sounding.discard)(key)
        assert not sounding
    written = sum(event.kind.endswith("_c") or event.kind == "System_exclusive" for event in found)
    assert written >= len(kept) + take.held
