"""What the page shows of rule files."""

from __future__ import annotations

from router.page.rule_facts import RuleFacts, read_facts, shown_files

ZONES = """
[ports]
keys = { input = "K*" }
rack = { output = "R*" }
[devices]
organ = { port = "rack", channel = 1 }
harp = { port = "rack", channel = 2 }
[switches]
up = { from = "keys", note = "C1" }
[[rules]]
from = "keys"
to = { "1..8" = "organ", "9" = ["harp", "rack"], "10..16" = [] }
[[rules]]
name = "split"
from = "keys"
to = "organ"
[[rules.zones]]
notes = "..B3"
when = "up"
[[rules.zones]]
notes = "C4.."
when = "up"
to = "harp"
"""


def facts(text: str) -> RuleFacts:
    """Facts of a rule file."""
    found = read_facts((("rig.toml", text.encode()),))
    assert found is not None
    return found


def test_a_rule_names_all_that_it_leads_to() -> None:
    """By tables of channels and by zones as well, each once. Without a name it has its number."""
    rules = facts(ZONES).rig({"up": False}, [])["rules"]
    assert [(rule["name"], rule["from"], rule["to"]) for rule in rules] == [
        ("rule 1", ["keys"], ["organ", "harp", "rack"]),
        ("split", ["keys"], ["organ", "harp"]),
    ]


def test_a_rule_is_open_where_one_of_its_zones_is() -> None:
    """None of them is, here."""
    for up in (False, True):
        rules = facts(ZONES).rig({"up": up}, [])["rules"]
        assert [rule["open"] for rule in rules] == [True, up]


def test_switches_that_the_rules_don_t_have_harm_nothing() -> None:
    """They come from rules of a moment before."""
    assert facts(ZONES).rig({"down": True, "up": 7}, [])["rules"][1]["open"] is False


def test_two_devices_on_one_channel_aren_t_guessed() -> None:
    """Notes there are the port's."""
    both = facts(ZONES.replace("channel = 2", "channel = 1"))
    assert both.device_at("rack", 1) is None
    assert facts(ZONES).device_at("rack", 2) == "harp"
    assert facts(ZONES).device_at("rack", 3) is None


def test_rules_that_can_t_be_read_give_no_facts() -> None:
    """A daemon of another version may play them."""
    assert read_facts((("rig.toml", b"[ports]\nkeys = 7\n"),)) is None


def test_files_are_shown_with_their_errors() -> None:
    """By line; what isn't text is shown as far as it can be."""
    problems = [
        {"file": "b.toml", "line": 2, "place": "rule 1", "text": "what?"},
        {"file": "b.toml", "line": 0, "place": "", "text": "empty"},
    ]
    assert shown_files((("a.toml", b"\xef\xbb\xbfx = 1"), ("b.toml", b"\xff")), problems) == [
        {"name": "a.toml", "text": "x = 1", "errors": []},
        {
            "name": "b.toml",
            "text": "\ufffd",
            "errors": [{"line": 2, "words": "rule 1: what?"}, {"line": 0, "words": "empty"}],
        },
    ]


def test_of_very_long_files_the_text_isn_t_sent() -> None:
    """Their names and errors are; files before them are shown."""
    shown = shown_files((("a.toml", b"#" * 50_000), ("b.toml", b"#" * 50_000)), [])
    assert [(file["name"], file["text"] is None) for file in shown] == [("a.toml", False), ("b.toml", True)]
