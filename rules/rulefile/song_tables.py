"""`[set_list]` and `[[songs]]`: the songs of an evening in order, and what each of them needs."""

from __future__ import annotations

from typing import Annotated, Any, Final

from pydantic import BeforeValidator, Field, model_validator

from rules.fields.names import Names, SongName
from rules.fields.table_model import OneOrMany, TableModel, fault, shown
from rules.fields.written_messages import DelayedMessages
from rules.rulefile.accepted import ACCEPT, Accepted
from rules.rulefile.clock_table import Tempo
from rules.rulefile.rule_tables import Effect
from rules.rulefile.switch_tables import Trigger

SONG: Final = "song"
"""The switch that songs make."""

Triggers = Annotated[tuple[Trigger, ...], OneOrMany]


def _read_about(raw: Any) -> Any:
    if isinstance(raw, str) and raw.strip() and all(line.isprintable() for line in raw.splitlines()):
        return raw
    raise fault(f"{shown(raw)} is not a note for the player: write text in quotes")


class SetList(TableModel):
    """How the player gets from song to song."""

    next: Triggers = Field(
        default=(),
        description="lists what goes on to the next song",
        examples=['next = { from = "keyboard", controller = 66 }'],
    )
    previous: Triggers = Field(
        default=(),
        description="lists what goes back to the song before",
        examples=['previous = { from = "keyboard", controller = 66, long = 600 }'],
    )
    wrap: bool = Field(
        default=False,
        description="lets the first song follow the last one; else the last one stays",
        examples=["wrap = true"],
    )
    accept: Accepted = Field(
        default_factory=dict,
        description=ACCEPT,
        examples=['accept = { "unset switch" = "chosen by phone" }'],
    )


class Song(TableModel):
    """What one song sends when it begins, and which rules are open in it."""

    name: SongName = Field(
        description="names the song; conditions ask for it as `song = Harbour Lights`",
        examples=['name = "Harbour Lights"'],
    )
    bpm: Tempo | None = Field(
        default=None,
        description="sets the tempo of your clock and of beats when the song begins, 10 to 1000 BPM",
        examples=["bpm = 96"],
        json_schema_extra={"default": "the tempo stays"},
    )
    set: Triggers = Field(
        default=(),
        description="lists what chooses this song, whichever is playing",
        examples=['set = { from = "pads", note = "D6" }'],
    )
    send: dict[str, DelayedMessages] = Field(
        default_factory=dict,
        description="sends messages when the song begins, by device or port; times make pauses",
        examples=['send = { organ = ["program 20", "controller volume 80"] }'],
        json_schema_extra={"default": "nothing"},
    )
    do: Annotated[tuple[Effect, ...], OneOrMany] = Field(
        default=(),
        description="asks the daemon for what `[[on_switch]]` may ask for",
        examples=['do = ["record on"]'],
        json_schema_extra={"default": "nothing"},
    )
    initially: bool = Field(
        default=True,
        description="sends the messages at the beginning as well, where this is the song then",
        examples=["initially = false"],
    )
    rules: Names = Field(
        default=(),
        description="names the rules that are open in this song; in songs that don't name them they are closed",
        examples=['rules = ["organ left", "bells"]'],
    )
    about: Annotated[str, BeforeValidator(_read_about)] | None = Field(
        default=None,
        description="says what you want to read about it, on one line or several",
        examples=['about = "wait for the singer"'],
    )
    accept: Accepted = Field(
        default_factory=dict,
        description=ACCEPT,
        examples=['accept = { "unheard clock" = "for the second set" }'],
    )

    @model_validator(mode="after")
    def _each_rule_once(self) -> Song:
        twice = [name for number, name in enumerate(self.rules) if name in self.rules[:number]]
        if twice:
            raise fault(f'`rules` names "{twice[0]}" twice: write each once')
        return self
