"""The stream route: straight through the tables, one pass a track, where the tables alone decide.

That is so where every cell is static: plain lanes for every value, no node or switch, a note-off that follows its
note-on by itself, and no output that another holder could reach.
"""

from __future__ import annotations

from collections.abc import Mapping

from rules.pipeline import Pipeline
from rules.smf.score import Score

Streams = Mapping[int, object]


def tables(pipeline: Pipeline) -> Streams:
    """The sources whose tables are static, with what the route needs of them."""
    return {}


def run(score: Score, streams: Streams) -> None:
    """Fills in the bodies of a score. Raises MidiFileError."""
