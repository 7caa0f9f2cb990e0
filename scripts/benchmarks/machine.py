"""Which machine it was: without that a figure says little."""

from __future__ import annotations

import os
import platform
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path


def describe() -> str:
    """Processor, cores that this process may use, system, Python and mido, in one line."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return (
        f"{_processor()}, {cores} cores, {platform.system()} {platform.release()}, "
        f"{platform.python_implementation()} {platform.python_version()}, mido {_version('mido')}"
    )


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        lines = []
    names = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.processor() or platform.machine()


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "missing"
