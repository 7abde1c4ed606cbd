"""The command that makes a report again, as it is typed in this system's shell.

Flows in: the words of a command line. Flows out: one line. Must not know: what the command does.
"""

from collections.abc import Iterator, Sequence

from drill.report.typed import typed

_FILES = ("--json", "--html", "--junit")  # each followed by the file it names


def again(words: Sequence[str], *, seed: int | None = None, now: str | None = None) -> str:
    """Return the command line of these words (a command and its options), without the files that it was asked to write,
    and with the seed that was drawn and the moment that counted as now where none was given."""
    added = {"--seed": None if seed is None else str(seed), "--now": now}
    missing = [
        (option, value)
        for option, value in added.items()
        if value is not None and not any(_names(word, option) for word in words)
    ]
    return typed(["drill", *_without_files(words), *(word for pair in missing for word in pair)])


def _without_files(words: Sequence[str]) -> Iterator[str]:
    rest = iter(words)
    for word in rest:
        if not any(_names(word, option) for option in _FILES):
            yield word
        elif "=" not in word:
            next(rest, None)


def _names(word: str, option: str) -> bool:
    """Say whether a word is an option, also shortened as argparse lets people write it, or with its value behind it."""
    return len(word) > 2 and option.startswith(word.partition("=")[0])
