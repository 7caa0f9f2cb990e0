"""Lets `python -m router` do what `pointsman` does."""

import sys

from router.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
