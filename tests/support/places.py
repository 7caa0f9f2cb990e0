"""Where things are, also when the tests run on an installed wheel."""

from __future__ import annotations

import os
from pathlib import Path

SOURCE = Path(os.environ.get("POINTSMAN_SOURCE", Path(__file__).parents[2]))
"""The source tree. Tests of a wheel run elsewhere, where its packages can't be imported."""
