"""`python -m contrastkit`: the command line."""

import sys

from contrastkit.cli import main

if __name__ == "__main__":
    sys.exit(main())
