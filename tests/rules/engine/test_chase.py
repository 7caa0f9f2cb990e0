"""The last values for `chase`: which are kept, and in which order they are given."""

from __future__ import annotations

from rules.compiler.compiler import compile_rules
from rules.engine.chase import chased_by, known_places
from rules.engine.engine import Engine
from rules.engine.player import Player
from rules.program.pipeline import Pipeline
from rules.rulefile.reading import read_rules
from rules.timing.delays import steady_nanoseconds

RULE = '[[rules]]\nfrom = "keys"\nto = "rack"\nwhen = "up"\n'


def pipeline_of(rules: str, steps: str = "") -> Pipeline:
    """Rules from the keys to the rack, behind the steps of the keys' port."""
    ports = f"[ports]\nkeys = {{ input = true, steps = [{steps}] }}\nrack = {{ output = true }}\n"
    switch = '[switches]\nup = { from = "keys", note = 1 }\n'
    return compile_rules(read_rules([("rules.toml", (ports + switch + rules).encode())]))


def played(pipeline: Pipeline, *messages: str) -> Player:
    """The player of the keys after these messages."""
    engine = Engine(pipeline, steady_nanoseconds(120))
    number = engine.add_player("keys")
    for message in messages:
        engine.feed(number, bytes.fromhex(message), 0, [])
    return engine.players[number]


def last_values(player: Player, things: tuple[int | str, ...]) -> list[bytes]:
    """What was kept of these things, in the order of their places."""
    return [player.known[place] for place in known_places(player, things)]


def test_what_all_rules_together_want_is_chased() -> None:
    """Controllers go by number, other kinds by name; where no rule chases, nothing is kept."""
    rules = RULE + 'chase = ["volume", "program"]\n' + RULE + 'chase = ["volume", "pitch-bend"]\n' + RULE
    assert chased_by(pipeline_of(rules)) == {7, "program", "pitch-bend"}
    assert chased_by(pipeline_of(RULE)) == frozenset()


def test_the_last_value_of_each_channel_is_kept() -> None:
    """Only of what some rule wants; given by thing as the rule lists them, then by channel."""
    pipeline = pipeline_of(RULE + 'chase = ["program", "volume"]\n')
    player = played(pipeline, "B1 07 10", "B0 07 20", "B0 07 30", "B0 0A 40", "C0 05")
    told = [message.hex(" ").upper() for message in last_values(player, ("program", 7))]
    assert told == ["C0 05", "B0 07 30", "B1 07 10"]


def test_a_value_is_known_by_what_the_steps_of_its_port_make_of_it() -> None:
    """What came is kept, and goes through these steps again when a rule chases."""
    steps = '{ map = { controllers = { "modulation" = "volume" } } }'
    player = played(pipeline_of(RULE + 'chase = ["volume"]\n', steps), "B0 01 10")
    assert last_values(player, (7,)) == [b"\xb0\x01\x10"]


def test_what_a_switch_swallows_is_not_kept() -> None:
    """It never arrives at the rules."""
    rules = '[switches.soft]\nfrom = "keys"\ncontroller = 67\n' + RULE + 'chase = ["soft pedal"]\n'
    assert last_values(played(pipeline_of(rules), "B0 43 7F"), (67,)) == []
