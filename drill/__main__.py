"""The way in: `drill`, and `python -m drill`. Loading takes a moment, in which Ctrl-C is a quiet end too."""

import sys


def main() -> int:
    """Run the `drill` command; return its exit code."""
    try:
        from drill.cli import main as command  # noqa: PLC0415 - an interruption meanwhile is met here
    except KeyboardInterrupt:
        print("drill: interrupted", file=sys.stderr)
        return 3
    return command()


if __name__ == "__main__":
    sys.exit(main())
