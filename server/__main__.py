"""``python -m server``: the same as ``lampfold``."""

from __future__ import annotations

import sys

from server.cli import main

if __name__ == "__main__":  # worker processes import this module again, and must not start the program
    sys.exit(main())
