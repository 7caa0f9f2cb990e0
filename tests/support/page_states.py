"""States of a daemon, as the page gets them."""

from __future__ import annotations

from typing import Any, Final

NOW: Final = 1_795_610_045.0

RULES: Final = """\
# One keyboard, two modules; the pads choose the song.

[clock]
bpm = 96
follow = "seq"

[ports]
keys = { input = "Pit Keyboard*" }
pads = { input = "Pad Board*" }
seq = { input = "Beat Box*" }
cable_a = { output = "Pit Interface*1", connection = "din" }
cable_b = { output = "Pit Interface*2", connection = "din" }

[devices]
"reed box" = { port = "cable_a", channel = 3 }
"bell box" = { port = "cable_b", channel = 3 }

[[rules]]
name = "left hand"
from = "keys"
match = { notes = "..B3" }
to = "reed box"
"""


MISTAKE: Final = 'there is no port named "cable_c": the ports are cable_a, cable_b'


def port(name: str, direction: str, **more: Any) -> dict[str, Any]:
    """Return a port as `status` has it."""
    return {
        "name": name,
        "direction": direction,
        "state": "open",
        "computer_port": "Pit Interface MIDI 1",
        "messages": 1204,
        "lost": 0,
        "refused": 0,
        "dropped": 0,
        "load": None,
        "nowhere": 0,
        "nowhere_last": None,
        **more,
    }


def quiet_state() -> dict[str, Any]:
    """Return the state of a daemon with one input, one rule and one output, and nothing else."""
    return {
        "name": "pointsman",
        "version": "0.1.0",
        "ports": [port("keys", "in"), port("rack", "out")],
        "clock": {"from": None, "take": False, "bpm": 120.0, "running": False, "beats": None, "beats_a_bar": 4},
        "songs": None,
        "playing": None,
        "recording": None,
        "recording_s": None,
        "switch_states": {},
        "sounding": [],
        "activity": {"keys": 0, "rack": 0},
        "rig": rig([("keys", "in"), ("rack", "out")], [("all", ["keys"], ["rack"], True)], []),
        "trouble": [],
        "rules_files": [{"name": "rig.toml", "text": RULES, "errors": []}],
        "last_reload": None,
        "former_rules": False,
        "going_back": False,
    }


def rig(
    ports: list[tuple[str, str]],
    rules: list[tuple[str, list[str], list[str], bool]],
    devices: list[tuple[str, str, int]],
) -> dict[str, Any]:
    """Return a rig of ports (name, direction), rules (name, from, to, open) and devices (name, port, channel)."""
    return {
        "ports": [
            {"name": name, "direction": direction, "device_of_computer": "Pit Interface", "missing": False}
            for name, direction in ports
        ],
        "rules": [{"name": name, "from": came, "to": to, "open": is_open} for name, came, to, is_open in rules],
        "devices": [{"name": name, "port": where, "channel": channel} for name, where, channel in devices],
    }


def evening_state() -> dict[str, Any]:
    """Return the state of a daemon in the middle of an evening: songs, switches, notes that sound, and some trouble."""
    return quiet_state() | {
        "ports": [
            port("keys", "in"),
            port("pads", "in"),
            port("seq", "in", state="missing", computer_port=None),
            port("cable_a", "out", load=0.12),
            port("cable_b", "out", load=0.87),
        ],
        "clock": {"from": "own", "take": False, "bpm": 96.0, "running": True, "beats": 41.2, "beats_a_bar": 4},
        "songs": {
            "names": ["Overture", "Harbour Lights", "Slow Tide", "Seven Ladders", "Last Train Out"],
            "at": 1,
            "wrap": False,
            "about": "Capo 2.\nBells only from the bridge on.",
        },
        "recording": "takes/2026-11-29 20.14.05.mid",
        "recording_s": 724.0,
        "switch_states": {
            "song": {
                "at": "Harbour Lights",
                "values": ["Overture", "Harbour Lights", "Slow Tide", "Seven Ladders", "Last Train Out"],
                "kind": "values",
            },
            "giant": {"at": True, "values": [], "kind": "on-off"},
            "bells": {"at": False, "values": [], "kind": "on-off"},
            "solo for the left hand": {"at": False, "values": [], "kind": "on-off"},
            "place": {"at": "cave", "values": ["garden", "cave", "hall"], "kind": "values"},
            "key": {"at": -2, "values": [-3, 3], "kind": "numbers"},
            "sound": {
                "at": "warm reeds",
                "values": ["plain", "warm reeds", "glass bells", "far choir", "pedal tuba"],
                "kind": "values",
            },
        },
        "sounding": [
            {"device": "reed box", "port": "cable_a", "notes": ["C2", "G2"], "longest_s": 42.0},
            {"device": "bell box", "port": "cable_b", "notes": ["E5", "G5", "C6", "E6"], "longest_s": 1.4},
        ],
        "activity": {"keys": 1204, "pads": 31, "seq": 0, "cable_a": 2018, "cable_b": 900},
        "rig": rig(
            [("keys", "in"), ("pads", "in"), ("seq", "in"), ("cable_a", "out"), ("cable_b", "out")],
            [
                ("left hand", ["keys"], ["reed box"], True),
                ("right hand", ["keys"], ["bell box", "string box"], True),
                ("bells on the pads", ["pads"], ["bell box"], False),
                ("clock for the modules", ["seq"], ["cable_a", "cable_b"], True),
                ("all the rest", ["keys", "pads"], ["cable_a"], True),
            ],
            [("reed box", "cable_a", 3), ("string box", "cable_a", 5), ("bell box", "cable_b", 3)],
        ),
        "trouble": [
            {"kind": "port", "words": "input seq is missing: Pointsman waits for it"},
            {
                "kind": "rules",
                "words": f"pit.toml line 16: {MISTAKE}",
            },
            {"kind": "held", "words": "reed box has held C2 for 42 s"},
        ],
        "rules_files": [
            {
                "name": "pit.toml",
                "text": RULES.replace('port = "cable_b"', 'port = "cable_c"'),
                "errors": [{"line": 16, "words": MISTAKE}],
            },
            {
                "name": "drums.toml",
                "text": '# The pads play the kit.\n\n[[rules]]\nname = "kit"\nfrom = "pads"\n',
                "errors": [],
            },
        ],
        "last_reload": {
            "at": NOW,
            "outcome": "rejected",
            "refused": "files",
            "words": [f"pit.toml line 16: {MISTAKE}"],
            "differences": [],
        },
        "former_rules": True,
    }


LOG: Final[list[dict[str, Any]]] = [
    {"at": NOW - 65.0, "say": 'playing as "pointsman"; Ctrl-C ends it'},
    {"at": NOW - 12.3, "port": "keys", "direction": "in", "text": "note-on 1 C3 96"},
    {"at": NOW - 12.3, "port": "cable_a", "direction": "out", "text": "note-on 3 C2 96"},
    {"at": NOW - 11.9, "port": "keys", "direction": "in", "text": "controller 1 sustain 127"},
    {"at": NOW - 11.9, "port": "cable_a", "direction": "out", "text": "controller 3 sustain 127"},
    {"at": NOW - 8.0, "say": "input seq is missing: Pointsman waits for it"},
    {"at": NOW - 3.5, "port": "pads", "direction": "in", "text": "note-on 10 D6 90"},
    {"at": NOW - 3.4, "port": "pads", "direction": "in", "text": "note-off 10 D6 64"},
    {"at": NOW - 0.2, "port": "keys", "direction": "in", "text": "note-on 1 E5 101"},
    {"at": NOW - 0.2, "port": "cable_b", "direction": "out", "text": "note-on 3 E5 101"},
]

THROUGH: Final = {
    "messages": [
        {
            "at": NOW - 0.2,
            "arrived": "from keys: note-on 1 E5 101",
            "sent": ["to cable_b: note-on 3 E5 101"],
            "why": [
                'rule "right hand": matches',
                "  transpose by 0: note-on 1 E5 101",
                "  note-on 1 E5 101: to bell box",
            ],
        },
        {
            "at": None,
            "arrived": "from keys: note-on 1 C3 96",
            "sent": [],
            "why": ['rule "right hand": C3 isn\'t within C4..'],
        },
    ]
}
