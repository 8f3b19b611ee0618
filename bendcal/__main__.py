"""Lets ``python -m bendcal …`` do the same as the command ``bendcal …``."""

import sys

if __name__ == "__main__":
    from bendcal.cli import main

    sys.exit(main())
