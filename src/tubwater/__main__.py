"""Lets `python -m tubwater` stand for the command."""

from tubwater.main import main

if __name__ == "__main__":
    raise SystemExit(main())
