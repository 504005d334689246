"""``python -m loopwright`` is the same as ``loopwright``."""

from __future__ import annotations

import sys

from loopwright.cli import main

if __name__ == "__main__":
    sys.exit(main())
