"""Chains of steps and where they end."""

from __future__ import annotations

from rules.compiler.cells import CellMaker
from rules.compiler.chain import DeliverLink, Nodes, RangeLink, ThroughNode, follow_chain, identity_forms, step_links
from rules.compiler.compiler import Compiler
from rules.compiler.switch_guards import layout_of
from rules.program.byte_tables import ALL
from rules.program.forms import Form
from rules.rulefile.reading import read_rules

PORTS = "[ports]\nkeys = { input = true }\nrack = { output = true }\nsynth = { output = true }\n"
NOTE_ONS = Form(0x90, gate_one=ALL, gate_two=ALL)


def compiler_of(more: str) -> Compiler:
    """A compiler for one rule from the keys."""
    text = f'{PORTS}[[rules]]\nname = "it"\nfrom = "keys"\n{more}\n'
    return Compiler(read_rules([("rules.toml", text.encode())]), ())


def ends(compiler: Compiler, form: Form) -> list[Form]:
    """What becomes of a form along the chain of the first branch."""
    return follow_chain(form, compiler.branches[0].chain, compiler.nodes)


def keys_of(form: Form) -> list[int]:
    """The outgoing keys of the incoming keys 59-62; 255 for those dropped."""
    return [form.one[key] if form.gate_one >> key & 1 else 255 for key in range(59, 63)]


def test_there_is_one_form_a_status() -> None:
    """From 80 to FF, each with all data bytes as they are."""
    forms = list(identity_forms())
    assert [form.status for form in forms] == list(range(0x80, 0x100))
    assert all(form.one[number] == form.two[number] == number for form in forms for number in range(128))


def test_a_chain_ends_at_its_ports() -> None:
    """Steps are folded into the form that arrives, for every port in order."""
    compiler = compiler_of('steps = [{ transpose = 1 }]\nto = ["synth", "rack"]')
    arrived = ends(compiler, NOTE_ONS)
    assert [compiler.ports[form.target] for form in arrived] == ["synth", "rack"]
    assert [keys_of(form) for form in arrived] == [[60, 61, 62, 63]] * 2


def test_a_chain_ends_at_a_step_with_memory() -> None:
    """What follows it is in a table of its own, made once."""
    compiler = compiler_of('steps = [{ delay = 5 }, { transpose = 1 }]\nto = "rack"')
    (form,) = ends(compiler, NOTE_ONS)
    assert form.node is not None
    assert form.node.after is not None
    (lane,) = form.node.after.rows[0x10][60].lanes
    assert (lane.first(60, 64), compiler.ports[lane.target]) == (61, "rack")
    assert ends(compiler, NOTE_ONS)[0].node is form.node


def test_a_form_goes_where_its_channel_leads_at_the_end() -> None:
    """`to` by channel goes by the channel after the steps; sysex goes to every name once."""
    compiler = compiler_of('steps = [{ rechannel = 2 }]\nto = { 1 = "rack", 2 = ["synth", "synth"] }')
    assert [compiler.ports[form.target] for form in ends(compiler, NOTE_ONS)] == ["synth"]
    assert [compiler.ports[form.target] for form in ends(compiler, Form(0xF0))] == ["rack", "synth"]


def test_a_step_of_a_rule_with_zones_has_one_memory() -> None:
    """Its nodes lead to different zones, but all know what the others know; a zone's own step knows its own."""
    more = 'steps = [{ send = "start" }]\nto = "rack"\n'
    more += '[[rules.zones]]\nnotes = "..B3"\nsteps = [{ send = "stop" }]\n[[rules.zones]]\nnotes = "C4.."\n'
    compiler = compiler_of(more)
    for branch in compiler.branches:
        follow_chain(NOTE_ONS, branch.chain, compiler.nodes)
    keys = [node.memory_key for node in compiler.nodes.all.values()]
    assert len(keys) == 3
    assert len(set(keys)) == 2


def test_a_list_of_steps_may_share_a_memory() -> None:
    """Under another key there is another node with the same memory key."""
    ruleset = read_rules(
        [("rules.toml", f"{PORTS}[[rules]]\nfrom = 'keys'\nto = 'rack'\nsteps = [{{ delay = 5 }}]".encode())]
    )
    nodes, layout = Nodes(CellMaker(())), layout_of(ruleset.switches)
    (mine,) = step_links(ruleset.rules[0].steps, ("mine",), layout, nodes)
    (other,) = step_links(ruleset.rules[0].steps, ("other",), layout, nodes, memory=("mine",))
    one, two = mine.fold(NOTE_ONS)[0].node, other.fold(NOTE_ONS)[0].node
    assert one is not None
    assert two is not None
    assert one is not two
    assert one.memory_key == two.memory_key


def test_a_node_stands_where_it_was_first_asked_for() -> None:
    """Whoever asks again gets the same one."""
    nodes = Nodes(CellMaker(()))
    node = nodes.get(("a",), ThroughNode)
    assert nodes.get(("a",), ThroughNode) is node
    assert nodes.get(("b",), ThroughNode) is not node
    assert node.memory_key == ("a",)


def test_keys_outside_a_device_are_dropped_or_moved() -> None:
    """Into the nearest octave inside (ruling 8); what has no key isn't asked."""
    (dropped,) = RangeLink(60, 61, by_octaves=False).fold(NOTE_ONS)
    assert keys_of(dropped) == [255, 60, 61, 255]
    (moved,) = RangeLink(60, 71, by_octaves=True).fold(NOTE_ONS)
    assert (moved.one[59], moved.one[72], moved.one[0]) == (71, 60, 60)
    bend = Form(0xE0, gate_one=ALL, gate_two=ALL)
    assert RangeLink(60, 61, by_octaves=False).fold(bend) == [bend]


def test_a_device_sets_the_channel_last() -> None:
    """Without one of its own it keeps what comes, and system messages have none (ruling 8)."""
    assert DeliverLink(3, 5).fold(NOTE_ONS)[0].status == 0x94
    assert DeliverLink(3, None).fold(NOTE_ONS)[0].status == 0x90
    assert DeliverLink(3, 5).fold(Form(0xFA))[0] == Form(0xFA, target=3)
