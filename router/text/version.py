"""Which Pointsman this is."""

from __future__ import annotations

from typing import Final

NOT_INSTALLED: Final = "unknown"


def version() -> str:
    """Return the version as the package was installed; `NOT_INSTALLED` where it runs without that."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as installed

    try:
        return installed("pointsman")
    except PackageNotFoundError:
        return NOT_INSTALLED
