"""The command line: thin commands over the core, one module each."""

from layflat.cli.main import main

__all__ = ["main"]
