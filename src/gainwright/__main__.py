"""Run as `python -m gainwright`."""

from gainwright.cli import main

if __name__ == "__main__":
    main()
