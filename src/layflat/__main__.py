"""`python -m layflat` is the `layflat` command."""

import sys

from layflat.cli import main

if __name__ == "__main__":
    sys.exit(main())
