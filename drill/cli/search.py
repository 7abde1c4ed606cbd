"""`drill search`: the shortest story of everyday mishaps after which a shoot cannot be brought back."""

import argparse
import secrets
from pathlib import Path

from drill import clock, units
from drill.cli.planned import add_scheme, add_shoot, away_of, day_of, no_scheme
from drill.cli.record import check_files, deliver, files_asked, keep_clear
from drill.cli.terminal import (
    FALLS_SHORT,
    OK,
    UNFINISHED,
    Commands,
    add_now,
    columns,
    complain,
    progress,
    whole,
)
from drill.errors import Mistake, Mistakes, Unfinished
from drill.guard import falls_in, guard_outputs
from drill.model import Studio
from drill.report.files import swap_in
from drill.report.search_text import search_text
from drill.report.typed import typed
from drill.scenario import scheme_path, shipped_folder
from drill.search import (
    FIRST_LINE,
    MISHAPS,
    Options,
    Outcome,
    check_left_out,
    corpus_folder,
    file_of,
    kept_stories,
    scenario_text,
    search_scheme,
)
from drill.searchrecord import dump
from drill.studio import load_studio

SEARCH_EPILOG = """\
exit codes: 0 every story of so many mishaps was tried and none loses it, which is no promise; 1 one was found; 2 the
command or the studio file is wrong; 3 it could not be finished. No copy is opened: a scheme is searched, with invented
pictures.
"""
MOST_DEPTH = 6


def add_search(commands: Commands) -> None:
    """Add the command to the parser."""
    looking = commands.add_parser(
        "search",
        help="the shortest story of everyday mishaps that loses a shoot under your scheme",
        description="Play a shoot's life under the scheme in the studio file, with mishaps put in between: a step "
        "forgotten, a medium or a place lost, bytes gone bad … and tell the shortest story that loses it.",
        epilog=SEARCH_EPILOG,
    )
    add = looking.add_argument
    add_scheme(looking)
    add("--depth", type=whole, default=3, metavar="N", help=f"mishaps at most, up to {MOST_DEPTH}; default 3")
    add(
        "--without",
        action="append",
        default=[],
        metavar="MISHAP",
        help=f"leave out a kind of mishap ({', '.join(MISHAPS)}) or a single one, such as rot:card; edit: do not ask "
        "about edits; repeatable",
    )
    add("--edits", action="store_true", help="only what loses edits, not what loses the shoot itself")
    add("--after", type=_span, default=0.0, metavar="SPAN", help="no mishap before so long after the first picture")
    add("--years", type=whole, default=1, metavar="N", help="how much of a shoot's life, 1 to 10 years; default 1")
    add("--budget", type=_span, metavar="SPAN", help='end after about so long ("2 min"), and try stories by chance too')
    add("--seed", type=whole, metavar="N", help="for the stories by chance; default: drawn and told")
    add_shoot(looking, which="the shoot")
    add("--json", metavar="FILE", help="write the record as JSON; - for standard output, without text")
    add(
        "--save", metavar="FILE", help="write how the shortest story ends as a scenario file for `drill run --scenario`"
    )
    add("--no-keep", action="store_true", help="neither try the stories kept from earlier runs, nor keep new ones")
    add_now(looking)
    looking.set_defaults(call=_search)


def _span(text: str) -> float:
    try:
        return units.parse_span(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _search(options: argparse.Namespace) -> int:
    file = scheme_path(options.studio)
    studio = load_studio(file, in_columns=True)
    corpus = None if options.no_keep or falls_in(file, shipped_folder()) else corpus_folder(studio.ledger)
    _check(studio, corpus, options)
    for warning in studio.warnings:
        complain(f"warning: {warning}")
    started = clock.now()
    now = options.now or started
    kept, notes = kept_stories(corpus) if corpus is not None else ([], [])
    settings = Options(
        started=started,
        now=now,
        day=day_of(options, now),
        away=away_of(options),
        depth=options.depth,
        years=options.years,
        after_s=options.after,
        without=tuple(dict.fromkeys(options.without)),
        edits_alone=options.edits,
        seed=secrets.randbelow(2**31) if options.seed is None else options.seed,
        budget_s=options.budget,
        kept=tuple(kept),
        progress=progress,
    )
    outcome = search_scheme(studio, settings, notes)
    progress("")
    if corpus is not None:
        _keep(corpus, outcome)
    deliver(search_text(outcome.record, width=columns()), lambda: dump(outcome.record), options)
    code = _saved(outcome, studio, options)
    if outcome.record.interrupted:
        complain("drill: interrupted")
    return UNFINISHED if outcome.record.interrupted else code


def _saved(outcome: Outcome, studio: Studio, options: argparse.Namespace) -> int:
    """Write the scenario file where one is asked for; return the exit code."""
    story = outcome.record.shortest
    if story is None:
        if options.save is not None:
            complain(f"no story was found, so {options.save} was not written")
        return OK if outcome.record.is_complete else UNFINISHED
    if options.save is not None:
        swap_in(Path(options.save), scenario_text(story, studio))
        own = options.studio if studio.shoots else "YOUR-studio.toml"
        line = typed(["drill", "run", own, "--scenario", options.save])
        only = "" if studio.shoots else ", where your media have the names of this scheme"
        complain(f"how it ends is in {options.save}, to be read")
        complain(f"drill it{only}: {line}")
    return FALLS_SHORT


def _keep(corpus: Path, outcome: Outcome) -> None:
    """Keep stories for later runs; where that cannot be, it is said and nothing else is lost."""
    try:
        if outcome.to_keep:
            corpus.mkdir(exist_ok=True)
        for story, words in outcome.to_keep:
            name, text = file_of(story, words)
            if not (corpus / name).exists():
                swap_in(corpus / name, text)
    except (OSError, Unfinished) as error:
        complain(f"warning: the stories could not be kept for later runs: {error}")


def _check(studio: Studio, corpus: Path | None, options: argparse.Namespace) -> None:
    """Refuse what is asked wrongly, and outputs that would fall where nothing may be written. Errors: Mistakes."""
    mistakes: list[Mistake] = []
    mistakes += [no_scheme(studio)] if studio.scheme is None else []
    for option, given, most in (("--depth", options.depth, MOST_DEPTH), ("--years", options.years, 10)):
        if not 1 <= given <= most:
            mistakes.append(Mistake(option, str(given), f"must be from 1 to {most}"))
    if options.save is not None:
        mistakes += _of_save(Path(options.save))
    try:
        check_left_out(studio, options.without)
    except Mistakes as error:
        mistakes += error.mistakes
    try:
        _check_outputs(studio, corpus, options)
    except Mistakes as error:
        mistakes += error.mistakes
    if mistakes:
        raise Mistakes(mistakes)


def _of_save(file: Path) -> list[Mistake]:
    """Return what is wrong with the file that a story is to be saved in: nothing but another story is written over."""
    if file.suffix.lower() != ".toml" or file.name.lower().endswith(".drill.toml"):
        what = "a scenario file ends in .toml, and not in .drill.toml, as expectations do"
        return [Mistake("--save", str(file), what, "name a file that ends so")]
    try:
        with file.open("rb") as there:
            is_ours = there.read(len(FIRST_LINE.encode())) == FIRST_LINE.encode()
    except FileNotFoundError:
        return []
    except OSError as error:
        return [] if file.is_dir() else [Mistake("--save", str(file), f"cannot be read: {error.strerror}")]
    what = "is there already, and is no story that was saved"
    return [] if is_ours else [Mistake("--save", str(file), what, "name another file, or move that one away")]


def _check_outputs(studio: Studio, corpus: Path | None, options: argparse.Namespace) -> None:
    outputs = files_asked(options, "json", "save")
    also = {} if corpus is None else {"[studio] ledger": corpus}
    scratch = {} if studio.scratch is None else {"[studio] scratch": studio.scratch}
    guard_outputs(studio, {**outputs, **also, **scratch})
    check_files(outputs)
    keep_clear([studio], outputs)
    for option, file in outputs.items():
        if corpus is not None and falls_in(file, corpus):
            raise Mistakes([Mistake(option, str(file), "is where stories are kept", "name another file")])
