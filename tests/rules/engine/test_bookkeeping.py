"""What emissions do to ledger and scheduler."""

from __future__ import annotations

from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Sent
from rules.engine.endings import drop_pending, end_players, leave_ports
from rules.engine.engine import Engine
from rules.engine.evaluation import Evaluation
from rules.midi.messages import split_message
from rules.program.event import Event, Family
from rules.program.tables import in_key_of
from rules.rulefile.reading import read_rules
from rules.timing.delays import NEVER, steady_nanoseconds

PORTS = "[ports]\nkeys = { input = true }\nrack = { output = true }\n"
MS = 1_000_000
NOTE, BEND = in_key_of(0x90, 60), in_key_of(0xE0, 0)


class EngineRig:
    """The bookkeeping of an engine, with rules from keys to rack; messages are entered past the fast path."""

    def __init__(self, *steps: str) -> None:
        rules = "".join(f'[[rules]]\nfrom = "keys"\nto = "rack"\nsteps = [{each}]\n' for each in steps)
        pipeline = compile_rules(read_rules([("rules.toml", f"{PORTS}{rules}".encode())]))
        self.engine = Engine(pipeline, steady_nanoseconds(120))
        self.engine.add_player("keys")
        (self.player,) = self.engine.players
        self.bookkeeping = self.engine.bookkeeping
        self.out: list[Sent] = []

    def enter(self, message: bytes, now: int = 0) -> None:
        """Enter one message."""
        status, first, _ = split_message(message)
        start = Event(0, 0, in_key_of(status, first), message, now, Family(self.engine.word))
        evaluation = Evaluation(self.engine, start, self.player.table, now, self.out)
        evaluation.run()
        self.bookkeeping.enter(self.player.ledger, start.in_key, evaluation, self.out)

    def drop_pending(self, now: int = 0) -> None:
        """All that is pending is dropped, or ends something."""
        drop_pending(self.bookkeeping, lambda event: True, now, self.out)

    def sent(self) -> list[bytes]:
        """What went out since the last time."""
        sent = [message for _, message, *_ in self.out]
        self.out.clear()
        return sent


def test_a_note_is_in_the_ledger_until_its_note_off() -> None:
    """It is noted where it sounds, not where it came from (ruling 9)."""
    rig = EngineRig("{ transpose = 12 }")
    rig.enter(b"\x90\x3c\x40")
    (press,) = rig.player.ledger.pressed(NOTE)
    assert [sounding.place for sounding in press.soundings] == [(0, 0x90, 72)]
    rig.enter(b"\x80\x3c\x21")
    assert rig.player.presses == {}
    assert rig.sent() == [b"\x90\x48\x40", b"\x80\x48\x21"]


def test_a_note_that_comes_to_nothing_is_noted_as_well() -> None:
    """Then its note-off has nothing to end, and goes nowhere."""
    rig = EngineRig('{ filter = { drop = { velocity = "..63" } } }')
    rig.enter(b"\x90\x3c\x10")
    assert [press.soundings for press in rig.player.ledger.pressed(NOTE)] == [[]]
    rig.enter(b"\x80\x3c\x10")
    assert rig.sent() == []
    rig.enter(b"\x80\x3c\x10")
    assert rig.sent() == [b"\x80\x3c\x10"]


def test_a_delayed_note_is_not_out_before_its_time() -> None:
    """It waits in the scheduler, and so does its note-off, as long."""
    rig = EngineRig("{ delay = 5 }")
    rig.enter(b"\x90\x3c\x40")
    (press,) = rig.player.ledger.pressed(NOTE)
    assert (rig.sent(), press.soundings[0].is_out, rig.bookkeeping.scheduler.next_due) == ([], False, 5 * MS)
    rig.enter(b"\x80\x3c\x40", 3 * MS)
    assert [rig.bookkeeping.scheduler.pop()[0] for _ in range(2)] == [5 * MS, 8 * MS]


def test_a_value_away_from_rest_is_noted_until_it_is_back() -> None:
    """Where it went, by what came (ruling 13)."""
    rig = EngineRig("{ rechannel = 3 }")
    rig.enter(b"\xe0\x00\x50")
    assert list(rig.player.ledger.resting(BEND)) == [(0, 0xE2, 0)]
    rig.enter(b"\xe0\x00\x40")
    assert rig.player.rests == {}


def test_what_two_ways_make_alike_goes_out_once() -> None:
    """A pair of identical messages is one (ruling 7)."""
    rig = EngineRig('{ send = { messages = ["note-on 1 60 64", "note-on 1 60 65"], pass_on = true } }')
    rig.enter(b"\x90\x3c\x40")
    assert rig.sent() == [b"\x90\x3c\x40", b"\x90\x3c\x41"]


def test_what_is_pending_ends_or_never_comes() -> None:
    """Of what is delayed, note-offs go out now and note-ons never (ruling 22)."""
    rig = EngineRig("{ delay = 5 }")
    rig.enter(b"\x90\x3c\x40")
    rig.enter(b"\x80\x40\x21")
    rig.drop_pending()
    assert rig.sent() == [b"\x80\x40\x21"]
    assert rig.bookkeeping.scheduler.next_due == NEVER


def test_what_a_node_keeps_never_comes_and_what_it_let_go_comes_to_rest() -> None:
    """A player that is lost takes along what is kept; the ledger behind the node knows what to bring to rest."""
    rig = EngineRig("{ thin = 20 }")
    rig.enter(b"\xe0\x00\x50")
    rig.enter(b"\xe0\x00\x51", 1)
    assert rig.sent() == [b"\xe0\x00\x50"]
    ((ledger, key, in_key),) = rig.bookkeeping.waiting_nodes.held_by(0)
    assert (list(ledger.resting(key)), in_key) == ([(0, 0xE0, 0)], BEND)
    end_players(rig.bookkeeping, [rig.player], 2, rig.out)
    assert rig.sent() == [b"\xe0\x00\x40"]
    assert (rig.bookkeeping.waiting_nodes.held_by(0), rig.player.rests) == ([], {})


def test_a_value_at_rest_behind_a_node_goes_once() -> None:
    """Also where it went there past the node as well: in whichever way it comes to rest, it has."""
    rig = EngineRig("{ thin = 20 }", "")
    rig.enter(b"\xe0\x00\x50")
    assert rig.sent() == [b"\xe0\x00\x50"]
    end_players(rig.bookkeeping, [rig.player], 2, rig.out)
    assert rig.sent() == [b"\xe0\x00\x40"]


def test_notes_and_values_of_a_player_can_be_ended() -> None:
    """At once, by note-offs of ours and values at rest."""
    rig = EngineRig("{ rechannel = 3 }")
    rig.enter(b"\x90\x3c\x40")
    rig.enter(b"\xb0\x40\x7f")
    rig.sent()
    end_players(rig.bookkeeping, [rig.player], 0, rig.out)
    assert rig.sent() == [b"\x82\x3c\x40", b"\xb2\x40\x00"]
    assert (rig.player.presses, rig.player.rests) == ({}, {})


def test_a_port_that_goes_leaves_its_presses_behind() -> None:
    """They have nothing to end any more, so that their note-offs go nowhere (ruling 30)."""
    rig = EngineRig("{ transpose = 12 }")
    rig.enter(b"\x90\x3c\x40")
    rig.sent()
    leave_ports(rig.bookkeeping, frozenset({0}), 0, rig.out)
    assert rig.sent() == [b"\x80\x48\x40"]
    assert [press.soundings for press in rig.player.ledger.pressed(NOTE)] == [[]]
