"""The way in: `drill`, and `python -m drill`. Loading the program takes a moment, in which Ctrl-C is a quiet end too."""

import sys


def main() -> int:
    """Run the `drill` command; return its exit code."""
    try:
        from drill.cli import main as command  # loaded here, so that an interruption meanwhile is met
    except KeyboardInterrupt:
        print("drill: interrupted", file=sys.stderr)
        return 3
    return command()


if __name__ == "__main__":
    sys.exit(main())
