"""Run as `python -m gainwright`; a process that is started to help imports this file too, and nothing of the command line."""


def main() -> None:
    """Run the command line."""
    from gainwright.cli import main as run

    run()


if __name__ == "__main__":
    main()
