"""What pyproject.toml can't say: which modules the compiled wheel has as machine code. scripts/build makes both wheels.

Without POINTSMAN_COMPILE=1 this does nothing: the wheel is pure, and needs no compiler. With it, mypyc compiles what a
message or an event of a file passes through. Everything else stays interpreted: compiled code never lets another thread
run, and it isn't needed at every message.
"""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterator
from importlib.metadata import version as version_of
from pathlib import Path
from typing import Any, Final

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

_HANDED_BACK: Final = "workers hand it back, and compiled frozen dataclasses can't be unpickled"

_RARE: Final = "it is asked when rules are read or a session begins, not at every message"

_NEEDED: Final = {"mypy", "setuptools", "pydantic"}
"""What compiles, and what the types of the compiled modules come from; pyproject.toml says in which versions."""

PACKAGES: Final[dict[str, dict[str, str]]] = {
    "rules/engine": {"clockwork": _RARE, "session": _RARE},
    "rules/program": {
        "native": "compiled code has numbers of its own",
        "node": _RARE,
        "parts": _RARE,
        "switch_states": _RARE,
    },
    "rules/smf": {"damage": _HANDED_BACK, "report": _HANDED_BACK},
}
"""The compiled packages, each with the modules that stay interpreted, and why."""

MODULES: Final = ("midi/controllers", "midi/messages", "midi/neutral", "timing/scheduler")
"""Compiled modules of packages that are interpreted otherwise."""


def compiled_modules(root: Path) -> list[str]:
    """Return the paths of all compiled modules, relative to the project folder and in the order of their names.

    Raises FileNotFoundError when a name in the tables above has no file.
    """
    found = {path for package, without in PACKAGES.items() for path in _of_package(root, package, without)}
    found.update(_of_name(root, name) for name in MODULES)
    return sorted(path.relative_to(root).as_posix() for path in found)


def _of_package(root: Path, package: str, without: dict[str, str]) -> Iterator[Path]:
    modules = {path.stem: path for path in (root / package).glob("*.py") if path.stem != "__init__"}
    if missing := without.keys() - modules.keys():
        raise FileNotFoundError(f"{package} has no module {', '.join(sorted(missing))}")
    yield from (path for name, path in modules.items() if name not in without)


def _of_name(root: Path, name: str) -> Path:
    path = root / "rules" / f"{name}.py"
    if path.exists():
        return path
    raise FileNotFoundError(f"rules has no module {name}")


class CompileEngine(BuildHookInterface[Any]):
    """Puts the compiled modules into the wheel, beside their sources, where POINTSMAN_COMPILE is 1."""

    def dependencies(self) -> list[str]:
        """Return what a build in an environment of its own needs."""
        core = self.metadata.core
        lines = [*core.dependencies, *core.optional_dependencies["dev"]]
        return [line for line in lines if re.split(r"[^\w-]", line)[0] in _NEEDED] if _is_wanted() else []

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile, and add the results to what the builder packs."""
        if version == "editable" or not _is_wanted():
            return
        self._folder = tempfile.TemporaryDirectory()
        root, folder = Path(self.root), Path(self._folder.name)
        _compile(root, folder)
        for path in (folder / "lib").rglob("*.*"):
            build_data["force_include"][str(path)] = path.relative_to(folder / "lib").as_posix()
        build_data["infer_tag"] = True
        build_data["pure_python"] = False
        # Compiled code runs on this library, in the version that it was compiled against.
        build_data["dependencies"].append(f"librt>={version_of('librt')}")

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Remove the temporary folder, once all is packed."""
        if version != "editable" and _is_wanted():
            self._folder.cleanup()


def _is_wanted() -> bool:
    return os.environ.get("POINTSMAN_COMPILE") == "1"


def _compile(root: Path, folder: Path) -> None:
    """Compile into folder/lib. Runs in the project folder, since mypyc takes module names from relative paths."""
    from mypyc.build import mypycify
    from setuptools import Distribution
    from setuptools.command.build_ext import build_ext

    before = Path.cwd()
    os.chdir(root)
    try:
        options = [f"--cache-dir={folder / 'cache'}", *compiled_modules(root)]
        extensions = mypycify(options, opt_level="3", debug_level="0", target_dir=str(folder / "c"))
        if os.name == "posix":
            for extension in extensions:  # nobody replaces our functions at load time: calls among them are inlined
                extension.extra_compile_args.append("-fno-semantic-interposition")
        command = build_ext(Distribution({"name": "pointsman", "ext_modules": extensions}))
        command.build_lib = str(folder / "lib")
        command.build_temp = str(folder / "objects")
        command.ensure_finalized()
        command.run()
    finally:
        os.chdir(before)
