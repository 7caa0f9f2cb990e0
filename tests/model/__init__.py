"""The slow model: a plain interpreter of a RuleSet, against which the engine is measured."""

from tests.model.agenda import NEVER
from tests.model.lists import NOBODY
from tests.model.merging import Out
from tests.model.model import Model

__all__ = ["NEVER", "NOBODY", "Model", "Out"]
