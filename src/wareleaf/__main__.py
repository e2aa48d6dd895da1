"""Runs the command line: ``python -m wareleaf``."""

from wareleaf.cli.main import main

if __name__ == "__main__":
    main()
