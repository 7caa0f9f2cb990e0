"""What pyproject.toml can't say: which modules the compiled wheel has as machine code. scripts/build makes both wheels.

Without POINTSMAN_COMPILE=1 this does nothing: the wheel is pure, and needs no compiler. With it, mypyc compiles the
engine, the ledger, the merge, the file routes, and what these hold in their hands at every message. Everything else
stays interpreted: compiled code never lets another thread run, and it isn't needed at every message. What workers
hand back (reports, damage) stays so as well, as compiled frozen dataclasses can't be unpickled.
"""

from __future__ import annotations

import os
from importlib.metadata import version
from typing import Any

from setuptools import Distribution, setup

ENGINE = [
    *("agenda", "books", "catching", "compiled", "delivery", "engine", "guards", "holder", "lag", "lanes", "ledger"),
    *("merge", "messages", "panic", "pipeline", "player", "rest", "thinning", "walk"),
]
FILE_ROUTES = [
    *("chunks", "direct", "general", "order", "patch", "reading", "rewriting", "scanning", "score"),
    *("solo", "straight", "stream", "streaming", "sysex", "tally", "tempo", "vlq", "wrapper", "writing"),
]
COMPILED = [f"rules/{name}.py" for name in ENGINE] + [f"rules/smf/{name}.py" for name in FILE_ROUTES]


class WithRuntime(Distribution):
    """Names the library that compiled code runs on as a dependency, in the version that it was compiled against."""

    def parse_config_files(self, *args: Any, **kwargs: Any) -> None:
        """Read pyproject.toml, and add to it."""
        super().parse_config_files(*args, **kwargs)
        self.install_requires = self.metadata.install_requires = [*self.install_requires, f"librt>={version('librt')}"]


if os.environ.get("POINTSMAN_COMPILE") == "1":
    from mypyc.build import mypycify

    modules = mypycify(COMPILED, opt_level="3", debug_level="0")
    if os.name == "posix":
        for module in modules:  # nobody replaces our functions at load time, so that calls among them can be inlined
            module.extra_compile_args.append("-fno-semantic-interposition")
    setup(distclass=WithRuntime, ext_modules=modules)
else:
    setup()
