"""What a reload says has changed."""

from rules.rulefile.differences import rule_changes
from rules.rulefile.reading import read_rules
from rules.rulefile.ruleset import RuleSet

PORTS = '[ports]\nkeys = { input = "K*" }\nrack = { output = "R*" }\n'


def said(before: str, after: str, common: str = PORTS) -> tuple[str, ...]:
    """What is said about one file that takes the place of another."""
    return rule_changes(rules(common + before), rules(common + after))


def rules(text: str) -> RuleSet:
    """The rules of one file."""
    return read_rules([("rig.toml", text.encode())])


def rule(name: str, more: str = "") -> str:
    """A rule from the keyboard to the rack."""
    return f'[[rules]]\nname = "{name}"\nfrom = "keys"\nto = "rack"\n{more}\n'


def test_nothing_is_said_where_nothing_differs() -> None:
    """A comment or an empty line more changes nothing that is played."""
    assert said(rule("a"), "# a comment\n\n" + rule("a")) == ()


def test_what_is_accepted_changes_nothing_that_switches_send() -> None:
    """The list goes on as it was."""
    turn = (
        '[switches]\nup = { from = "keys", note = 36 }\n[[on_switch]]\nwhen = "up"\nsend = { rack = "program 1 5" }\n'
    )
    assert said(turn, turn + 'accept = { "unheard clock" = "x" }\n') == ()
    assert said(turn, turn + "bpm = 96\n") == ("on_switch: what switches send has changed",)


def test_rules_are_new_changed_or_gone() -> None:
    """Each rule that differs is named, with what became of it."""
    assert said(rule("a") + rule("b"), rule("b", "steps = [{ transpose = 1 }]") + rule("c")) == (
        'rules: new "c"; changed "b"; gone "a"',
    )


def test_another_order_is_a_change() -> None:
    """The order of rules decides what comes out first, so it is told when nothing else differs."""
    assert said(rule("a") + rule("b"), rule("b") + rule("a")) == ("rules: new order",)


def test_a_rule_in_between_leaves_the_order_as_it_was() -> None:
    """A rule put between two others is new, and no change of order."""
    assert said(rule("a") + rule("b"), rule("a") + rule("c") + rule("b")) == ('rules: new "c"',)


def test_ports_devices_and_switches_have_a_line_each() -> None:
    """Whatever has a name is told by its kind."""
    after = """
[ports]
keys = { input = "K*" }
rack = { output = "Rack*" }
desk = { output = "D*" }
[devices]
organ = { port = "rack", channel = 4 }
[switches]
up = { from = "keys", controller = "sustain" }
"""
    assert said(PORTS, after, common="") == (
        'ports: new "desk"; changed "rack"',
        'devices: new "organ"',
        'switches: new "up"',
    )


def test_ports_that_are_gone_are_named() -> None:
    """A port that is no longer in the file is told as gone."""
    assert said('desk = { output = "D*" }\n', "") == ('ports: gone "desk"',)


def test_tempo_sends_and_tests_are_told() -> None:
    """What has no name of its own is told in a line of its own."""
    switch = '[switches]\nup = { from = "keys", controller = "sustain" }\n'
    turn = '[[on_switch]]\nwhen = "up"\nsend = { rack = "program 1 5" }\n'
    test = '[[tests]]\nname = "t"\nfrom = "keys"\nplay = "clock"\nexpect = {}\n'
    assert said(switch, switch + turn + test) == (
        "on_switch: what switches send has changed",
        "tests: changed, now 1, before 0",
    )
    assert said(PORTS, "clock.bpm = 99.5\n" + PORTS, common="") == ("clock: 120 BPM became 99.5 BPM",)
    assert said(PORTS, "clock.beats_a_bar = 3\n" + PORTS, common="") == ("clock: other settings",)


def test_many_names_are_counted() -> None:
    """A file written anew names the first six, and says how many more there are."""
    many = "".join(rule(f"r{number}") for number in range(20))
    assert said("", many) == ('rules: new "r0", "r1", "r2", "r3", "r4", "r5" and 14 more',)


def test_seven_names_are_all_named() -> None:
    """One name isn't worth being counted."""
    many = "".join(rule(f"r{number}") for number in range(7))
    assert said("", many) == ('rules: new "r0", "r1", "r2", "r3", "r4", "r5", "r6"',)


def songs(*names: str, send: str = "start", head: str = "") -> str:
    """Songs that send something."""
    return head + "".join(f'[[songs]]\nname = "{name}"\nsend = {{ rack = "{send}" }}\n' for name in names)


def test_songs_are_told_by_their_names() -> None:
    """Not as the switch that they make; what they send is."""
    sent = "on_switch: what switches send has changed"
    assert said(songs("a", "b"), songs("a", "c")) == ('songs: new "c"; gone "b"', sent)
    assert said(songs("a", "b"), songs("b", "a")) == ("songs: new order", sent)
    assert said(songs("a"), songs("a", send="stop")) == ('songs: changed "a"', sent)
    assert said("", songs("a")) == ('songs: new "a"', sent)


def test_ways_from_song_to_song_are_told() -> None:
    """Another pedal, or a list that goes round."""
    pedal = '[set_list]\nnext = { from = "keys", controller = 66 }\n'
    other = ("songs: other ways from one to the next",)
    assert said(songs("a", "b"), songs("a", "b", head=pedal)) == other
    assert said(songs("a", "b", head=pedal), songs("a", "b", head=f"{pedal}wrap = true\n")) == other
