"""Run the command line: ``python -m telltick``."""

from telltick.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
