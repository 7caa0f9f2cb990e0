"""Which Pointsman the tests run, the source tree or a wheel that was installed; and what is in a wheel."""

from __future__ import annotations

import importlib
import os
import runpy
import subprocess
import sys
import sysconfig
import tarfile
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

HOOK = runpy.run_path(str(SOURCE / "scripts/packaging/compile_engine.py"))
MACHINE_CODE: list[str] = HOOK["compiled_modules"](SOURCE)
"""The sources of all modules that the compiled wheel has as machine code."""

ABOUT = {"METADATA", "RECORD", "WHEEL", "entry_points.txt", "licenses/LICENSE"}
"""What a wheel says of itself."""
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
    assert names >= {"compiled", "engine", "ledger", "messages", "patch", "streaming", "evaluation", "writing"}
    assert names.isdisjoint({"damage", "report", "schema", "__init__"})


def test_a_wheel_holds_the_two_packages_and_nothing_else(tmp_path: Path) -> None:
    """All of their files, the marker that they are typed among them, no tests, and no scripts."""
    sources = {
        path.relative_to(SOURCE).as_posix()
        for package in ("rules", "router")
        for path in (SOURCE / package).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert {Path(name).suffix for name in sources} <= {".py", ".typed", ".md"}
    assert {"rules/py.typed", "router/py.typed"} <= sources
    compiled = {path.removesuffix(".py") for path in MACHINE_CODE} if EXPECTED == "compiled" else set()
    packed = packed_files(tmp_path)
    native = {name for name in packed if Path(name).suffix in {".so", ".pyd"}}
    assert packed - native == sources
    shared = {name for name in native if "/" not in name}  # what all compiled modules have in common
    assert len(shared) == bool(compiled)
    assert {name.partition(".")[0] for name in native - shared} == compiled


def packed_files(folder: Path) -> set[str]:
    """What is in the wheel that the tests run, or, where they run on the source, in one that is made of it."""
    if EXPECTED == "source":
        with zipfile.ZipFile(build(folder, "wheel")) as wheel:
            names = set(wheel.namelist())
        about = ABOUT
    else:
        files = [path.as_posix() for path in distribution("pointsman").files or ()]
        names = {name for name in files if not name.startswith("..") and "__pycache__" not in name}
        about = ABOUT | OF_THE_INSTALLER
    said = {name.partition(".dist-info/")[2] for name in names if ".dist-info/" in name}
    assert ABOUT <= said <= about
    return {name for name in names if ".dist-info/" not in name}


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


def test_a_wheel_brings_the_command() -> None:
    """Whatever was installed, `pointsman` starts the same function."""
    (command,) = distribution("pointsman").entry_points.select(group="console_scripts")
    assert (command.name, command.value) == ("pointsman", "router.cli.main:main")


def test_a_wheel_asks_for_the_packages_that_the_project_names() -> None:
    """The compiled one needs the library that compiled code runs on as well; no package is there for tests alone."""
    required = {line for line in distribution("pointsman").requires or () if "extra ==" not in line}
    names = {line.partition(";")[0].rstrip("0123456789.,<>=! ") for line in required}
    assert names == {"argcomplete", "pydantic", "python-rtmidi", "tqdm", "watchfiles"} | (
        {"librt"} if COMPILED else set()
    )


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
