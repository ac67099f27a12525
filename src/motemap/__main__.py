"""Run the command line with ``python -m motemap``."""

from motemap.cli.main import main

if __name__ == "__main__":
    raise SystemExit(main())
