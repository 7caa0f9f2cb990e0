"""The engine beside the slow model: the same rules, the same performance, compared line by line."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import takewhile
from typing import Final

from rules.midi.messages import SYSEX
from rules.midi.notation import format_message
from rules.rulefile.reading import read_rules
from rules.rulefile.ruleset import RuleSet
from tests.model import NEVER, NOBODY
from tests.model.tempos import Tempos
from tests.support.live_stages import MS, LiveStage, ModelStage, SessionStage, still_sounding
from tests.support.playing import MakeSubject, Sent, Stage, make_model
from tests.support.subjects import make_engine

_SHOWN: Final = 12

UNORDERED: Final = ("panic", "release", "reload", "close")
"""What ends many notes at once: in which order it does is nobody's business."""


def difference(files: Sequence[str], performance: Sequence[str]) -> str:
    """What the engine does differently, with the rules and the performance up to there; empty when nothing."""
    rulesets = [read_rules([("rules.toml", text.encode())]) for text in files]
    engine, model = (_stage(make, rulesets) for make in (make_engine, make_model))
    for number, line in enumerate([*performance, "at the end"]):
        before = len(model.out)
        for stage in (engine, model):
            if number < len(performance):
                stage.play(line)
            else:
                stage.finish()
        if any(word in line.split() for word in UNORDERED):
            for stage in (engine, model):
                stage.out[before:] = sorted(stage.out[before:])
        if engine.out != model.out or engine.subject.next_due != model.subject.next_due:
            return _told(files, [*performance, line][: number + 1], engine, model, before)
    return ""


def live_difference(files: Sequence[str], session: Sequence[str]) -> str:
    """What a live session does differently from the slow model, or leaves sounding at its end; empty when nothing."""
    rulesets = [read_rules([("rules.toml", text.encode())]) for text in files]
    engine, model = SessionStage(rulesets), ModelStage(rulesets)
    for stage in (engine, model):
        stage.begin()
    heard = list(engine.out)
    for number, line in enumerate(session):
        before = len(model.out)
        for stage in (engine, model):
            stage.play(line)
        heard += engine.out[before:]
        if model.lost_any or line.split()[2] in ("panic", "pull", "reload", "leave"):
            for stage in (engine, model):
                stage.out[before:] = sorted(stage.out[before:])
        if not _are_alike(engine.out[before:], model.out[before:]) or engine.next_due != model.next_due:
            return _told_live(files, session[: number + 1], engine, model, before)
    sounding = still_sounding(heard, rulesets)
    if sounding or engine.session.engine.sounding or engine.next_due != NEVER:
        return "\n".join([f"at the end this sounds: {sounding}", _told_live(files, session, engine, model, 0)])
    return ""


def _are_alike(some: Sequence[Sent], others: Sequence[Sent]) -> bool:
    """Whether the same goes out at the same time; what our clock sends, to the nanosecond on either side.

    The engine rounds the place of its clock in the beat where the tempo changes, to a part of a nanosecond.
    """
    return len(some) == len(others) and all(map(_is_like, some, others))


def _is_like(one: Sent, other: Sent) -> bool:
    port, message, due, player = one
    is_ours = player == NOBODY and message[0] > SYSEX
    return (port, message, player) == (other[0], other[1], other[3]) and abs(due - other[2]) <= is_ours


def _told_live(files: Sequence[str], session: Sequence[str], engine: LiveStage, model: LiveStage, before: int) -> str:
    """Rules, session, and what both send from where they part, or from the last line on."""
    parts = ["", *(f"--- rule file {number}\n{text}" for number, text in enumerate(files, start=1))]
    parts += ["--- session", *session]
    agreeing = zip(engine.out[before:], model.out[before:], strict=False)
    alike = sum(1 for _ in takewhile(lambda pair: _is_like(*pair), agreeing))
    for name, stage in (("engine", engine), ("model", model)):
        lines = [f"at {due / MS} {port} {format_message(message)}" for port, message, due, _ in stage.out[before:]]
        players = [player for *_, player in stage.out[before + alike :]]
        parts += [f"--- the {name} sends ({alike} alike before this)", *lines[alike : alike + _SHOWN]]
        parts += [f"of {len(lines)}, from players {players[:_SHOWN]}, next due {stage.next_due}"]
    return "\n".join(parts)


def _stage(make: MakeSubject, rulesets: Sequence[RuleSet]) -> Stage:
    """A subject on a stage, with a tempo of its own."""
    tempos = Tempos()
    return Stage(make(rulesets[0], tempos.later), rulesets[0], list(rulesets[1:]), tempos)


def _told(files: Sequence[str], performance: Sequence[str], engine: Stage, model: Stage, before: int) -> str:
    """Rules, performance, and what both send from where they part, or from the last line on."""
    parts = ["", *(f"--- rule file {number}\n{text}" for number, text in enumerate(files, start=1))]
    parts += ["--- performance", *performance]
    agreeing = zip(engine.out[before:], model.out[before:], strict=False)
    alike = sum(1 for _ in takewhile(lambda pair: _is_like(*pair), agreeing))
    for name, stage in (("engine", engine), ("model", model)):
        lines = stage.written()[before:]
        players = [player for *_, player in stage.out[before + alike :]]
        parts += [f"--- the {name} sends ({alike} alike before this)", *lines[alike : alike + _SHOWN]]
        parts += [f"of {len(lines)}, from players {players[:_SHOWN]}, next due {stage.subject.next_due}"]
    return "\n".join(parts)
