"""Which Pointsman this is."""

from __future__ import annotations


def version() -> str:
    """Return the version as the package was installed; "unknown" where it runs without being installed."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as installed

    try:
        return installed("pointsman")
    except PackageNotFoundError:
        return "unknown"
