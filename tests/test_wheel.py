"""Which Pointsman the tests run, the source tree or a wheel that was installed; and what is in a wheel."""

from __future__ import annotations

import email
import importlib
import os
import re
import runpy
import subprocess
import sys
import sysconfig
import tarfile
import tomllib
import zipfile
from importlib.metadata import distribution
from pathlib import Path

import pytest

import router
import rules
from rules.program.compiled import COMPILED
from tests.support.places import SOURCE

EXPECTED = os.environ.get("POINTSMAN_EXPECT", "source")
"""`source`, or the kind of wheel that scripts/test-wheel has installed: `pure` or `compiled`."""
INSTALLED = Path(sysconfig.get_path("purelib"))

PROJECT = tomllib.loads((SOURCE / "pyproject.toml").read_text(encoding="utf-8"))["project"]
HOOK = runpy.run_path(str(SOURCE / "scripts/packaging/compile_engine.py"))
MACHINE_CODE: list[str] = HOOK["compiled_modules"](SOURCE)
"""The sources of all modules that the compiled wheel has as machine code."""

ABOUT = {"METADATA", "RECORD", "WHEEL", "entry_points.txt", "licenses/LICENSE"}
"""The files in which a wheel says what it is."""
OF_THE_INSTALLER = {"INSTALLER", "REQUESTED", "direct_url.json", "uv_cache.json"}


def test_what_runs_is_what_was_asked_for() -> None:
    """A wheel's tests import what is installed and not the source tree, and the compiled one's engine is compiled."""
    assert (EXPECTED == "compiled") == COMPILED
    modules = [importlib.import_module(path.removesuffix(".py").replace("/", ".")) for path in MACHINE_CODE]
    assert {Path(module.__file__ or "").suffix != ".py" for module in modules} == {COMPILED}
    for module in (router, rules, *modules):
        assert (INSTALLED in Path(module.__file__ or "").parents) == (EXPECTED != "source"), module


def test_the_engine_and_the_file_routes_are_compiled() -> None:
    """A module that moves takes its place among the compiled ones along; what workers hand back stays interpreted."""
    names = {Path(path).stem for path in MACHINE_CODE}
    assert len(names) == len(MACHINE_CODE)
    assert names >= {"compiled", "engine", "ledger", "messages", "patch_route", "stream_route", "evaluation", "writing"}
    assert names.isdisjoint({"damage", "report", "schema", "__init__"})


class Wheel:
    """The wheel that the tests run; where they run on the source, one that is made of it."""

    def __init__(self, texts: dict[str, str], names: set[str]) -> None:
        self.packed = {name for name in names if ".dist-info/" not in name}
        self.about = {name.partition(".dist-info/")[2] for name in names if ".dist-info/" in name}
        self.entry_points = texts["entry_points.txt"].split()
        self.metadata = email.message_from_string(texts["METADATA"])


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Wheel:
    """Its files, and what it says of itself."""
    said = ("entry_points.txt", "METADATA")
    if EXPECTED != "source":
        installed = distribution("pointsman")
        files = [path.as_posix() for path in installed.files or ()]
        names = {name for name in files if not name.startswith("..") and "__pycache__" not in name}
        return Wheel({name: installed.read_text(name) or "" for name in said}, names)
    with zipfile.ZipFile(build(tmp_path_factory.mktemp("wheel"), "wheel")) as packed:
        names = set(packed.namelist())
        folder = next(name for name in names if name.endswith("METADATA")).removesuffix("METADATA")
        return Wheel({name: packed.read(folder + name).decode() for name in said}, names)


def build(folder: Path, kind: str) -> Path:
    """Make a wheel or a source archive."""
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", kind, "-d", folder],
        cwd=SOURCE,
        env={**os.environ, "POINTSMAN_COMPILE": "0"},
        capture_output=True,
        check=True,
    )
    (built,) = folder.iterdir()
    return built


def test_a_wheel_holds_the_two_packages_and_nothing_else(wheel: Wheel) -> None:
    """All of their files, the marker that they are typed among them, no tests, and no scripts."""
    sources = {
        path.relative_to(SOURCE).as_posix()
        for package in ("rules", "router")
        for path in (SOURCE / package).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert {Path(name).suffix for name in sources} <= {".py", ".typed", ".md", ".html", ".css", ".js", ".svg"}
    assert {"rules/py.typed", "router/py.typed"} <= sources
    compiled = {path.removesuffix(".py") for path in MACHINE_CODE} if EXPECTED == "compiled" else set()
    native = {name for name in wheel.packed if Path(name).suffix in {".so", ".pyd"}}
    assert wheel.packed - native == sources
    shared = {name for name in native if "/" not in name}  # what all compiled modules have in common
    assert len(shared) == bool(compiled)
    assert {name.partition(".")[0] for name in native - shared} == compiled


def test_a_wheel_tells_its_licence_and_its_command(wheel: Wheel) -> None:
    """The licence is among its files, and `pointsman` starts what pyproject.toml says."""
    assert ABOUT <= wheel.about <= ABOUT | (OF_THE_INSTALLER if EXPECTED != "source" else set())
    assert (wheel.metadata["License-Expression"], wheel.metadata["License-File"]) == ("MIT", "LICENSE")
    assert wheel.entry_points == ["[console_scripts]", "pointsman", "=", PROJECT["scripts"]["pointsman"]]


def test_a_wheel_requires_what_the_project_names(wheel: Wheel) -> None:
    """The compiled one needs the library that compiled code runs on as well; no package is there for tests alone."""
    required = [line for line in wheel.metadata.get_all("Requires-Dist", []) if "extra ==" not in line]
    assert {name_of(line) for line in required} == {
        *(name_of(line) for line in PROJECT["dependencies"]),
        *(["librt"] if EXPECTED == "compiled" else []),
    }


def name_of(requirement: str) -> str:
    """The package that a line names."""
    found = re.match(r"[\w-]+", requirement)
    assert found
    return found[0]


@pytest.mark.parametrize(("compiled", "names"), [("0", set()), ("1", {"mypy", "pydantic", "setuptools"})])
def test_a_build_says_what_it_needs(compiled: str, names: set[str]) -> None:
    """The pure wheel needs nothing but what packs it, also where it is built in an environment of its own."""
    program = "from hatchling.build import *; print(*get_requires_for_build_wheel(), sep='\\n')"
    environment = {**os.environ, "POINTSMAN_COMPILE": compiled}
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=SOURCE, env=environment, capture_output=True, text=True, check=True
    )
    assert {name_of(line) for line in done.stdout.split("\n") if line} == names


@pytest.mark.parametrize("name", ["LICENSE", "README.md", "pyproject.toml", "rules/py.typed", "router/py.typed"])
def test_a_source_archive_is_enough_to_build_from(name: str, archive: set[str]) -> None:
    """It holds what the wheels are made of."""
    assert name in archive


def test_a_source_archive_holds_what_belongs_to_the_project(archive: set[str]) -> None:
    """The packages, what compiles them, and the tests; nothing that scripts and tools leave in the folder."""
    assert set(MACHINE_CODE) <= archive
    assert "scripts/packaging/compile_engine.py" in archive
    assert "tests/test_wheel.py" in archive
    at_the_top = {"PKG-INFO", "LICENSE", "README.md", "DEVELOPERS.md", "pyproject.toml", ".gitignore"}
    assert {name.partition("/")[0] for name in archive} == at_the_top | {
        *("rules", "router", "tests", "examples", "scripts")
    }
    assert not [name for name in archive if "__pycache__" in name]


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> set[str]:
    """The files of a source archive."""
    with tarfile.open(build(tmp_path_factory.mktemp("archive"), "sdist")) as packed:
        return {name.partition("/")[2] for name in packed.getnames()}
