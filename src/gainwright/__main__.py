"""Run as `python -m gainwright`; a process that is started to help imports this file too, and nothing of the command line."""

import gc


def main() -> None:
    """Run the command line.

    Most of what a short command makes is its modules, which stay until it ends. Looking through them for garbage, while
    they are imported and once more when the process ends, would take a quarter of the time of a plan.
    """
    gc.set_threshold(100_000)
    from gainwright.cli import main as run

    try:
        run()
    finally:
        gc.freeze()


if __name__ == "__main__":
    main()
