"""Pipelines as a process gets them that another one has prepared."""

from __future__ import annotations

import io
import pickle
from typing import Any

from router.daemon.rule_preparer import PartPickler
from rules.program.parts import parts_of
from rules.program.pipeline import Pipeline


def handed_over(pipeline: Pipeline) -> Pipeline:
    """The same pipeline, as another process gets it."""
    stream = io.BytesIO()
    pickler = PartPickler(stream, pickle.HIGHEST_PROTOCOL)
    parts = list(parts_of(pipeline))
    for part in parts:
        pickler.dump(part)
    stream.seek(0)
    unpickler = pickle.Unpickler(stream)
    loaded: Any = None
    for _ in parts:
        loaded = unpickler.load()
    assert isinstance(loaded, Pipeline)
    return loaded
