"""Scripts without an ending, which the import statement can't find, as modules."""

from __future__ import annotations

from importlib.machinery import SourceFileLoader
from importlib.util import module_from_spec, spec_from_loader
from pathlib import Path
from types import ModuleType


def as_module(script: Path) -> ModuleType:
    """Load a Python script; what stands under `if __name__ == "__main__"` doesn't run."""
    name = script.name.replace("-", "_")
    loader = SourceFileLoader(name, str(script))
    spec = spec_from_loader(name, loader)
    assert spec is not None
    module = module_from_spec(spec)
    loader.exec_module(module)
    return module
