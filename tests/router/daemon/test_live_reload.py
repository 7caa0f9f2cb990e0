"""New rules while the loop plays: notes, ports and devices."""

from __future__ import annotations

from collections.abc import Iterator

import rules.journal.format as journal
from rules.analysis.history import history_of
from rules.journal.replay import replay
from tests.support.live_rig import HIGHER, MS, OFF, ON, PROGRAM, RULES, SILENCE, VOLUME, LiveRig, prepared, silent
from tests.support.outgoing_records import went_out


def test_notes_survive_new_rules(rig: LiveRig) -> None:
    """What was struck under the old rules ends as it began; what is struck now goes by the new ones."""

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        yield 1
        rig.swap(HIGHER)
        yield 1
        rig.keys.play(OFF, ON, OFF)
        yield 1

    rig.goes(script())
    assert rig.rack.heard == [PROGRAM, ON, OFF, b"\x90\x54\x64", b"\x80\x54\x40"]


def test_new_rules_open_and_close_ports(rig: LiveRig) -> None:
    """A port that stays is not opened again; at one that goes, what sounds is ended before it closes."""
    box = rig.hub.plug("Box", sends=False)

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        yield 1
        opened = rig.backend.opened
        rig.swap(RULES.replace('"Rack*"', '"Box*"').replace("rack", "box"))
        assert rig.backend.opened == opened + 1
        yield 1
        assert rig.rack.messages == [PROGRAM, ON, b"\x80\x3c\x40"]
        rig.keys.play(ON, OFF)
        yield 1

    rig.goes(script())
    assert rig.rack.heard == []
    assert box.heard == [PROGRAM, ON, OFF]


def test_a_name_that_moves_to_another_port_begins_anew_there(rig: LiveRig) -> None:
    """The old port is silenced; the new one gets what its device wants first, and what is played from then on."""
    box = rig.hub.plug("Box", sends=False)

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        yield 1
        rig.swap(RULES.replace('"Rack*"', '"Box*"'))
        yield 1
        rig.keys.play(OFF, ON, OFF)
        yield 1

    rig.goes(script())
    assert silent(rig.rack.heard)
    assert box.heard[-4:] == [PROGRAM, OFF, ON, OFF]


def test_an_output_whose_pattern_is_mended_begins_as_its_device_wants() -> None:
    """Nothing reached it under the old rules: it is silenced, and gets all that the new ones want, once each."""
    mistyped = RULES.replace('"Rack*"', '"Rcak*"')
    mended = RULES.replace('"program 17"', '"program 17", "controller volume 100"')
    rig = LiveRig(mistyped)

    def script() -> Iterator[float]:
        assert rig.rack.messages == []
        rig.live.swap(prepared(mended, mistyped))
        assert rig.rack.heard[:-2] == SILENCE
        assert rig.rack.messages[-2:] == [PROGRAM, VOLUME]
        yield 300
        rig.keys.play(ON, OFF)
        yield 1

    rig.goes(script())
    assert rig.rack.heard == [ON, OFF]
    assert replay(rig.records) == went_out(rig.records)


def test_a_journal_from_the_start_is_told_for_certain(rig: LiveRig) -> None:
    """Also what the devices were sent first is known to come from the rules."""

    def script() -> Iterator[float]:
        rig.keys.play(ON, OFF)
        yield 1

    rig.goes(script())
    assert rig.rack.heard == [PROGRAM, ON, OFF]
    assert history_of(rig.records, 30_000 * MS).is_certain


def test_an_output_that_is_plugged_in_just_before_new_rules_returns(rig: LiveRig) -> None:
    """They find it before we have looked around: it begins in silence all the same, as its device wants it."""

    def script() -> Iterator[float]:
        rig.hub.unplug(rig.rack)
        yield 300
        rig.rack = rig.hub.plug("Rack", sends=False)
        rig.swap(HIGHER)
        yield 300
        assert rig.rack.messages == [*SILENCE, PROGRAM]

    rig.goes(script())
    assert sum(kind == journal.BACK for kind, *_ in rig.records) == 1
    assert replay(rig.records) == went_out(rig.records)


def test_an_output_that_is_new_with_the_rules_is_sent_what_its_device_wants_once(rig: LiveRig) -> None:
    """Nobody knows it yet, so nothing is silenced there; the one that stays is sent nothing again."""
    box = rig.hub.plug("Box", sends=False)
    more = RULES.replace(
        "[devices]", 'box = { output = "Box*" }\n[devices]\nbass = { port = "box", setup = ["controller volume 100"] }'
    )

    def script() -> Iterator[float]:
        rig.swap(more)
        yield 300

    rig.goes(script())
    assert (box.heard, rig.rack.heard) == ([VOLUME], [PROGRAM])


def test_a_renamed_input_keeps_what_it_holds(rig: LiveRig) -> None:
    """Another name, by another pattern too, for the same port of the computer: it stays open, and one note-off goes
    out. The journal says so, and plays again alike."""
    heard: list[bytes] = []
    renamed = RULES.replace('keys = { input = "Keys*" }', 'piano = { input = "Key*" }').replace(
        'from = "keys"', 'from = "piano"'
    )

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        yield 2
        rig.swap(renamed)
        yield 2
        rig.keys.play(OFF, ON, OFF)
        yield 2
        heard.extend(rig.rack.heard)

    rig.goes(script())
    assert heard == [PROGRAM, ON, OFF, ON, OFF]
    assert [device for device in rig.said if "keys" in device and "no longer" in device] == []
    assert replay(rig.records) == went_out(rig.records)
    assert [kind for kind, *_ in rig.records].count(journal.RENAMED) == 1


def test_a_new_name_at_another_port_is_another_source(rig: LiveRig) -> None:
    """What the port that goes has held ends at once."""
    heard: list[bytes] = []
    other = RULES.replace('keys = { input = "Keys*" }', 'piano = { input = "Piano*" }').replace(
        'from = "keys"', 'from = "piano"'
    )

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        yield 2
        rig.swap(other)
        yield 2
        heard.extend(rig.rack.heard)

    rig.goes(script())
    assert heard == [PROGRAM, ON, OFF]
    assert journal.RENAMED not in [kind for kind, *_ in rig.records]
