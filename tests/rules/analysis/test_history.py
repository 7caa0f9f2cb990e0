"""What happened lately, and why; what is held, since when, and where its note-off would go."""

import rules.journal.format as journal
from rules.analysis.history import Arrival, Departure, Held, History, OtherEvent, history_of, port_naming
from rules.journal.format import NAMES, RULES, STATE, WALL, Names, Record
from rules.midi.notation import STANDARD, Naming
from tests.support.journalled_session import CLOCKED, FILES, FIRST, MS, SECOND, Performance

SECOND_NS = 1000 * MS
ON, OFF = bytes((0x90, 60, 100)), bytes((0x80, 60, 10))
SOFT = bytes((0xB0, 67, 127))


def at(performance: Performance, moment: int) -> Performance:
    """The performance at a moment (ms)."""
    performance.now = moment * MS
    return performance


def history(performance: Performance, seconds: int = 30) -> History:
    """What is told of it."""
    return history_of(performance.log, seconds * SECOND_NS)


def arrivals(told: History) -> list[Arrival]:
    """The arrivals in a story."""
    return [one for one in told.happened if isinstance(one, Arrival)]


def test_an_arrival_tells_where_it_went_and_why() -> None:
    """The same words as a trace by hand."""
    performance = Performance()
    at(performance, 1).arrive(0, ON)
    (arrival,) = arrivals(history(performance))
    assert (arrival.time, arrival.source, arrival.message, arrival.count) == (MS, "keys", ON, 1)
    assert arrival.outcomes == (("rack", bytes((0x93, 60, 100))), ("box", ON))
    assert [line.text for line in arrival.why(STANDARD)][:2] == [
        'rule "keys": matches',
        "transpose by +12: not now, it waits for up",
    ]
    assert arrival.agrees


def test_the_rules_and_switches_are_those_of_the_time() -> None:
    """A pedal that was down then, rules that were replaced since."""
    performance = Performance()
    at(performance, 1).arrive(0, SOFT)
    at(performance, 2).arrive(0, ON)
    at(performance, 3).replace(SECOND)
    note = arrivals(history(performance))[1]
    assert "transpose by +12: note-on 1 C5 100" in [line.text for line in note.why(STANDARD)]


def test_a_note_off_goes_where_its_note_on_went() -> None:
    """Whatever the rules say by now (ruling 9)."""
    performance = Performance()
    at(performance, 1).arrive(0, ON)
    at(performance, 2).replace(SECOND)
    at(performance, 3).arrive(0, OFF)
    note_off = arrivals(history(performance))[-1]
    assert note_off.lets_go
    assert not note_off.agrees
    assert note_off.outcomes == (("rack", bytes((0x83, 60, 10))), ("box", OFF))
    assert [line.text for line in note_off.why(STANDARD)] == ["ends what its note-on began, whatever the rules are now"]


def test_what_goes_out_later_is_told_at_its_time() -> None:
    """A delay of 7 ms, and who caused it."""
    performance = Performance()
    at(performance, 1).arrive(1, ON)
    at(performance, 20).advance()
    told = history(performance)
    assert told.happened[-1] == Departure(8 * MS, "rack", ON, "seq")
    assert arrivals(told)[0].outcomes == ()
    assert arrivals(told)[0].agrees


def test_values_that_follow_one_another_are_told_once() -> None:
    """A sweep of the wheel is one line; notes and pedals are one each."""
    performance = Performance()
    for moment in range(10):
        at(performance, 1 + moment).arrive(0, bytes((0xE0, 0, 70 + moment)))
    at(performance, 20).arrive(0, ON)
    at(performance, 21).arrive(0, OFF)
    bend, *notes = arrivals(history(performance))
    assert (bend.count, bend.message) == (10, bytes((0xE0, 0, 79)))
    assert [note.count for note in notes] == [1, 1]


def test_clocks_are_a_tempo_and_not_told_one_by_one() -> None:
    """Nor is active sensing."""
    performance = Performance()
    for moment in range(0, 600, 20):
        at(performance, 1 + moment).arrive(1, b"\xf8")
    performance.arrive(1, b"\xfe")
    told = history(performance)
    assert [one for one in told.happened if one.time > MS] == []
    assert told.bpm == 125.0


def test_other_events_are_told_with_what_they_sent() -> None:
    """Ports, switches by command, panic, rules, the end."""
    performance = Performance()
    at(performance, 1).arrive(0, ON)
    at(performance, 2).lose(0)
    at(performance, 3).come_back("box")
    at(performance, 4).turn("song", "chorus")
    at(performance, 5).turn("up", True)
    at(performance, 6).panic(False)
    at(performance, 7).replace(SECOND)
    at(performance, 8).leave()
    events = [one for one in history(performance).happened if isinstance(one, OtherEvent)]
    assert [one.words for one in events] == [
        "input keys has gone: its notes and pedals end",
        "output box is back",
        "switch song set to chorus by command",
        "switch up set to on by command",
        "panic: everything was silenced",
        "rules applied: rules.toml",
        "the daemon ended",
    ]
    assert events[0].outcomes == (("rack", bytes((0x83, 60, 64))), ("box", bytes((0x80, 60, 64))))
    assert events[2].outcomes == (("rack", bytes((0xC3, 19))),)


def test_what_a_press_asks_of_our_clock_is_told_below_it() -> None:
    """A start that a pad has asked for comes after the pad."""
    rules = (
        b'[clock]\nstart = { from = "pads", note = "C4" }\n'
        b'[ports]\npads = { input = true }\nbox = { output = true, clock = "own" }\n'
    )
    records: list[Record] = [
        (RULES, 0, 0, journal.rules_data((("rules.toml", rules),))),
        (NAMES, 0, 0, journal.names_data(Names(("pads",), ("box",)))),
        (journal.IN, 5 * MS, 0, ON),
    ]
    press, start = history_of(records, SECOND_NS).happened
    assert isinstance(press, Arrival)
    assert isinstance(start, Departure)
    assert (start.time, start.message) == (5 * MS, b"\xfa")


def test_what_is_held_is_told_with_who_holds_it_since_when() -> None:
    """And with what letting go will send; what was let go isn't held."""
    performance = Performance()
    at(performance, 1).arrive(0, ON)
    at(performance, 2).arrive(1, bytes((0xB2, 64, 100)))
    at(performance, 3).arrive(1, bytes((0x90, 70, 100)))
    at(performance, 5).arrive(1, bytes((0x80, 70, 0)))
    at(performance, 500).advance()
    assert list(history(performance).held) == [
        Held("keys", 0x90, 60, MS, (("rack", bytes((0x83, 60, 64))), ("box", bytes((0x80, 60, 64))))),
        Held("seq", 0xB2, 64, 2 * MS, (("rack", bytes((0xB2, 64, 0))),)),
    ]


def test_only_the_last_seconds_are_told_but_what_is_held_is_always_known() -> None:
    """However long ago the key was pressed."""
    performance = Performance()
    at(performance, 1).arrive(0, ON)
    at(performance, 60_000).arrive(0, bytes((0x90, 64, 1)))
    told = history(performance)
    assert [one.message[1] for one in arrivals(told)] == [64]
    assert [(held.number, held.since) for held in told.held] == [(60, MS), (64, 60_000 * MS)]


def test_a_panic_is_the_end_of_what_is_held() -> None:
    """A key that is struck anew is held since then."""
    performance = Performance()
    at(performance, 1).arrive(0, ON)
    at(performance, 2).panic(False)
    assert list(history(performance).held) == []
    at(performance, 3).arrive(0, ON)
    assert [held.since for held in history(performance).held] == [3 * MS]


def test_what_is_told_is_certain_if_it_is_what_went_out() -> None:
    """A whole journal is; one that lacks a message isn't."""
    performance = Performance()
    at(performance, 1).arrive(0, ON)
    at(performance, 200).advance()
    assert history(performance).is_certain
    del performance.log[-1]
    assert not history(performance).is_certain


def test_a_journal_without_its_beginning_knows_what_was_held_and_how_switches_stood() -> None:
    """By its snapshot: messages before the first rules are those that were pressed long ago."""
    performance = at(Performance(), 50_000)
    performance.log[:] = [
        (journal.IN, 3 * MS, 0, ON),
        (RULES, 40_000 * MS, 0, journal.rules_data(FILES[FIRST])),
        (NAMES, 2 * MS, 0, journal.names_data(Names(("keys", "seq"), ("rack", "box")))),
        (WALL, 2 * MS, 0, journal.wall_data(1.7e9)),
        (STATE, 2 * MS, 0, journal.state_data({"up": True, "song": "verse", "gone": 3})),
    ]
    performance.note(journal.IN, 0, bytes((0x90, 62, 1)))
    told = history(performance)
    assert [(held.number, held.since) for held in told.held] == [(60, 3 * MS), (62, 50_000 * MS)]
    assert arrivals(told)[0].switches["up"] is True
    assert told.walls == [(2 * MS, 1.7e9)]
    assert told.wall_s(1002 * MS) == 1.7e9 + 1


def test_numbers_mean_what_they_meant_under_earlier_rules() -> None:
    """The journal's names say so, where the reload that moved or took a port lies before its beginning."""
    performance = at(Performance(), 50_000)
    names = Names(("gone", "seq", "keys"), ("lost", "box", "rack"))
    performance.log[:] = [
        (RULES, 40_000 * MS, 0, journal.rules_data(FILES[FIRST])),
        (NAMES, 2 * MS, 0, journal.names_data(names)),
    ]
    performance.note(journal.IN, 2, ON)
    performance.note(journal.OUT, 2, bytes((0x93, 60, 100)))
    performance.note(journal.OUT, 1, ON)
    told = history(performance)
    assert arrivals(told)[0].outcomes == (("rack", bytes((0x93, 60, 100))), ("box", ON))
    assert [(held.source, held.number) for held in told.held] == [("keys", 60)]
    assert told.is_certain


def test_notes_are_called_as_in_the_rule_file() -> None:
    """middle_c of the file of the port counts."""
    files = (("a.toml", b'middle_c = "C3"\n' + FIRST.encode()),)
    rules: Record = (RULES, 0, 0, journal.rules_data(files))
    told = history_of([rules], SECOND_NS)
    assert port_naming(told, "keys") == Naming(middle_c=3)
    assert port_naming(told, "elsewhere") == STANDARD


def test_of_nothing_nothing_is_told() -> None:
    """A journal that has only begun."""
    told = history_of([], SECOND_NS)
    assert (list(told.happened), list(told.held), told.bpm, told.is_certain) == ([], [], None, True)


def test_a_journal_without_its_beginning_knows_our_tempo() -> None:
    """Where on its grid our clock was isn't known, and its ticks need not agree; an echo in beats does."""
    performance = Performance()
    performance.replace(CLOCKED)
    at(performance, 10).order(60.0)
    at(performance, 20).order("start")
    performance.note(journal.TEMPO, 0, journal.tempo_data(60.0, is_running=True))
    cut = len(performance.log)
    at(performance, 3_013).order("stop")
    at(performance, 3_500).advance()
    lasting = {record[0]: record for record in performance.log[:cut] if record[0] in journal.LASTING}
    records = [lasting[kind] for kind in sorted(lasting)] + [
        record for record in performance.log[cut:] if record[1] >= 3_000 * MS
    ]
    told = history_of(records, SECOND_NS)
    assert told.is_certain
    assert [one.words for one in told.happened if isinstance(one, OtherEvent)] == ["clock: stop, by command"]


def test_what_a_take_plays_is_told_apart() -> None:
    """It goes the way of its input; that it begins and ends is told, and what it holds is its own."""
    performance = Performance()
    at(performance, 1).arrive(0, ON)
    at(performance, 2).play_take(bytes((0x90, 62, 100)))
    assert [(held.source, held.number, held.by_take) for held in history(performance).held] == [
        ("keys", 60, False),
        ("keys", 62, True),
    ]
    at(performance, 3).end_take()
    told = history(performance)
    assert [(one.source, one.by_take) for one in arrivals(told)] == [("keys", False), ("keys", True)]
    assert arrivals(told)[1].why(STANDARD)[0].text == 'rule "keys": matches'
    words = [one.words for one in told.happened if isinstance(one, OtherEvent)]
    assert words == ["a take begins to play as keys", "the take that played as keys ends"]
    assert [held.by_take for held in told.held] == [False]
    assert told.is_certain


def test_the_time_of_day_may_be_known_before_the_rules() -> None:
    """Ports that take their time to open hold up the first rules, and not who notes what time it is."""
    rules = b"[ports]\nkeys = { input = true }\n"
    records: list[Record] = [
        (WALL, 0, 0, journal.wall_data(1.7e9)),
        (RULES, 2 * MS, 0, journal.rules_data((("rules.toml", rules),))),
        (NAMES, 2 * MS, 0, journal.names_data(Names(("keys",), ()))),
        (journal.IN, 5 * MS, 0, ON),
    ]
    assert history_of(records, SECOND_NS).walls == [(0, 1.7e9)]


def test_before_rules_are_in_force_nothing_is_told() -> None:
    """A daemon that is asked while it starts has only the mark of where its history ends."""
    told = history_of([(journal.RECORDED, 5, 0, journal.TRIMMED)], SECOND_NS)
    assert (list(told.happened), list(told.held)) == ([], [])
