"""Items: a file of drills, its shoots, and one item for each exercise, as pytest collects and runs them.

Flows in: files, pytest's calls. Flows out: outcomes and plain words; a report carries its drill's record. A file's
studio is opened when the first of its items is set up in this process, and closed after the last. Must not know: how
the session is noted.
"""

from collections.abc import Generator, Iterable, Iterator, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NoReturn

import pytest

from drill import clock
from drill.errors import Mistakes, Unfinished
from drill.expectations import Accepted, Due, Sheet, read_sheet, shortfall, studio_sheet
from drill.guard import check_scratch, guard_outputs, scratch_of
from drill.insurance import headers_folder
from drill.ledger import Ledger
from drill.model import ProofAge, Scenario, Shoot
from drill.promisemark import mark_of
from drill.pytest_plugin import ASKED, Asked
from drill.pytest_plugin.today import carried
from drill.record import Drill, drill_to_json
from drill.rehearse import Exercise, Options, Rehearsal
from drill.report.typed import typed
from drill.report.words import fold, safe
from drill.scenario import is_shipped

WIDTH = 100  # columns that failures are folded to: they are read in terminals, mails and web pages
REPEAT, CLOSER = "Repeat it: ", "See all of it: "  # before commands that are to be copied
_CARRIER = "drill-carrier"


class DrillWarning(pytest.PytestWarning):
    """Something worth knowing about a studio or its ledger, which changes no outcome."""


def moment_of(text: str) -> datetime:
    """Read a time as people write it. Errors: ValueError."""
    return clock.parse_time(text)


def drill_file(parent: pytest.Collector, path: Path, *, is_studio: bool) -> "DrillFile":
    """Return the collector of one file."""
    plugins = parent.config.pluginmanager
    if not plugins.has_plugin(_CARRIER):
        plugins.register(Carrier(), _CARRIER)
    return DrillFile.from_parent(parent, path=path, is_studio=is_studio)


class DrillFile(pytest.File):
    """An expectation file, or a studio file by itself, and in a run the studio that it opens."""

    def __init__(self, *, is_studio: bool, **rest: Any) -> None:
        super().__init__(**rest)
        self._is_studio = is_studio
        self.asked: Asked = self.config.stash[ASKED]
        self.now = clock.moment(datetime.fromtimestamp(self.asked.begun_s, UTC))
        self.now = moment_of(self.asked.now) if self.asked.now else self.now
        self.sheet: Sheet
        self.seed = 0
        self.rehearsal: Rehearsal | None = None
        self._promises: dict[str, tuple[int, str]] = {}
        self.today: dict[str, Any] | None = None  # what its drills found wrong on the copies
        self.stopped = ""  # why no more of its drills can be made
        self._closing = ExitStack()

    def collect(self) -> Iterator["DrillShoot"]:
        """Read the file; yield its shoots. Errors: CollectError, with every mistake."""
        try:
            self.sheet = studio_sheet(self.path) if self._is_studio else read_sheet(self.path)
            _guard(self.sheet, no_ledger=self.asked.no_ledger)
        except Mistakes as error:
            raise self.CollectError(_said(error)) from None
        own = self.sheet.seed if self.asked.seed is None else self.asked.seed
        self.seed = self.asked.drawn if own is None else own
        try:
            self._tell(self.sheet.studio.warnings)
        except DrillWarning as error:  # somebody asked for warnings to be errors
            raise self.CollectError(str(error)) from None
        for shoot, due in self.sheet.due:
            yield DrillShoot.from_parent(self, name=shoot.id, shoot=shoot, due=due)

    def setup(self) -> None:
        """Open the ledger and every copy."""
        studio, asked = self.sheet.studio, self.asked
        warnings: list[str] = []
        try:
            with ExitStack() as closing:
                ledger = (
                    None if asked.no_ledger else closing.enter_context(Ledger.open(studio.ledger, warn=warnings.append))
                )
                headers = None if asked.no_ledger else headers_folder(studio.ledger)
                options = Options(seed=self.seed, now=self.now, ledger=ledger, headers=headers)
                scenarios, shoots = self._selected()
                self.rehearsal = closing.enter_context(Rehearsal(studio, scenarios, options, shoots))
                self._closing = closing.pop_all()
        except (Mistakes, Unfinished) as error:
            _fail(f"not drilled: {_said(error)}")
        try:
            self._tell([*warnings, *self.rehearsal.headers.warnings])
        except DrillWarning as error:
            _fail(str(error))

    def _tell(self, warnings: Iterable[str]) -> None:
        for warning in warnings:
            self.warn(DrillWarning(safe(warning)))

    def _selected(self) -> tuple[list[Scenario], list[Shoot]]:
        """Return the scenarios and shoots of the items that pytest was left with."""
        mine = [one.due.exercise for one in self.session.items if isinstance(one, DrillItem) and one.file is self]
        scenarios = {exercise.scenario.name: exercise.scenario for exercise in mine}
        shoots = {exercise.shoot.id: exercise.shoot for exercise in mine}
        return list(scenarios.values()), list(shoots.values())

    def promise_of(self, shoot: Shoot) -> tuple[int, str]:
        """Return how many files a shoot promises, and the mark of its promise; worked out once for all its drills."""
        if shoot.id not in self._promises:
            self._promises[shoot.id] = len(shoot.promise), mark_of(shoot.promise)
        return self._promises[shoot.id]

    def teardown(self) -> None:
        """Close the studio: its folder in scratch is removed. What it came across is kept for the report."""
        if self.rehearsal is not None:
            command = typed(["drill", "run", _from(self.asked.folder, self.sheet.studio.file)])
            self.today = carried(command, *self.rehearsal.wrong_today())
        self.rehearsal = None
        self._closing.close()


class DrillShoot(pytest.Collector):
    """The drills of one shoot."""

    def __init__(self, *, shoot: Shoot, due: Sequence[Due], **rest: Any) -> None:
        super().__init__(**rest)
        self._shoot, self._due = shoot, due

    def collect(self) -> Iterator[pytest.Item]:
        """Yield an item for each exercise, and one that is skipped for each scenario that does not apply."""
        assert isinstance(self.parent, DrillFile)
        file = self.parent
        has_xdist = self.config.pluginmanager.has_plugin("xdist")
        for due in self._due:
            name = _name(due.exercise)
            id_ = f"{self.nodeid}::{name}"  # as text: pytest then takes what is in brackets as in any other test
            item = DrillItem.from_parent(self, name=name, nodeid=id_, file=file, due=due, of=len(self._due))
            if has_xdist:  # with --dist loadgroup a shoot's drills share their reads
                item.add_marker(pytest.mark.xdist_group(self.nodeid))
            yield item
        for scenario in file.sheet.not_applicable[self._shoot.id]:
            idle = IdleItem.from_parent(self, name=scenario.name)
            idle.add_marker(pytest.mark.skip(reason="does not apply: it hits nothing in this studio"))
            yield idle


class IdleItem(pytest.Item):
    """A scenario that does not apply; it is always skipped."""

    def runtest(self) -> NoReturn:
        """Never come here."""
        raise AssertionError("a scenario that does not apply was drilled")

    def reportinfo(self) -> tuple[Path, int, str]:
        """Return the file, its first line (what is skipped by a mark needs one) and the words that head a report."""
        return self.path, 0, self.name


class DrillItem(pytest.Item):
    """One exercise: `due` is what is expected of it, `of` how many its file has of this shoot."""

    def __init__(self, *, file: DrillFile, due: Due, of: int, **rest: Any) -> None:
        super().__init__(**rest)
        self.file, self.due, self.of = file, due, of
        self.carried: dict[str, Any] | None = None
        self._short = ""

    def setup(self) -> None:
        """Refuse where the file's drills have come to a stop."""
        if self.file.stopped:
            _fail(f"not drilled: {self.file.stopped}")

    def runtest(self) -> None:
        """Drill it, and hold the record against what is expected."""
        rehearsal, exercise = self.file.rehearsal, self.due.exercise
        assert rehearsal is not None
        record: Drill | None = None
        try:
            record = rehearsal.drill(exercise)
        except Unfinished as error:
            self.file.stopped = _said(error)
        if record is None:  # told outside of the handler, or pytest tells what was handled as well
            self._fail(f"not finished: {self.file.stopped}")
        self.carried = {
            "file": str(self.file.path),
            "ledger": str(self.file.sheet.studio.ledger),
            "shoots": [shoot.id for shoot in self.file.sheet.studio.shoots],
            "now": clock.rfc3339(self.file.now),
            "seed": self.file.seed,
            "of": self.of,
            "promise": self.file.promise_of(exercise.shoot),
            "shipped": is_shipped(exercise.scenario),
            "record": drill_to_json(record),
        }
        short = shortfall(
            self.due,
            record,
            ages=lambda: _ages_left(rehearsal, exercise),
            now=self.file.now,
            where=self.file.path.name,
        )
        self._settle(short)

    def _settle(self, short: str) -> None:
        """End as pytest knows it: passed, failed, or expected to fail."""
        accepted = self.due.accepted
        if accepted is None:
            if short:
                self._fail(short)
            return
        until, reason = accepted.until.astimezone().date().isoformat(), safe(accepted.reason)
        at = f"{self.path.name}, {accepted.at}"
        is_over = self.file.now >= accepted.until
        if not short:
            over = f", until {until}, which is over" if is_over else ""
            what = f"{at}, accepts that this falls short ({reason}{over}), and everything expected holds now."
            self._fail(f"{what} {_way_out(accepted, self.due.exercise)}")
        if is_over:
            self._fail(f"{at}: accepted until {until} ({reason}), which is over.\n{short}")
        self._short = f"{_folded(short)}\n{self._repeat()}"
        pytest.xfail(f"accepted until {until}: {reason}")
        self._fail(short)  # with --runxfail the line before does nothing

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """Show an accepted shortfall in its own words too; what pytest shows is public, its type is not."""
        if isinstance(excinfo.value, pytest.xfail.Exception):
            return self._short
        return super().repr_failure(excinfo, style)

    def _fail(self, text: str) -> NoReturn:
        _fail(f"{text}\n{self._repeat()}")

    def _repeat(self) -> str:
        """Return the commands that repeat this test, and that show its drill in tables, which know no expectations."""
        asked, exercise = self.file.asked, self.due.exercise
        seed = ["--drill-seed", str(self.file.seed), *(["--drill-now", asked.now] if asked.now else [])]
        seed += ["--drill-no-ledger"] if asked.no_ledger else []
        test = f"{_from(asked.folder, self.path)}::{exercise.shoot.id}::{self.name}"
        scenario = Path(exercise.scenario.file)
        words = ["drill", "run", _from(asked.folder, self.file.sheet.studio.file)]
        words += ["--scenario", scenario.stem if is_shipped(exercise.scenario) else _from(asked.folder, scenario)]
        words += ["--shoot", exercise.shoot.id, "--seed", str(self.file.seed)]
        words += ["--now", asked.now] if asked.now else []
        words += ["--no-ledger"] if asked.no_ledger else []
        return f"{REPEAT}{typed(['pytest', test, *seed])}\n{CLOSER}{typed(words)}"

    def reportinfo(self) -> tuple[Path, None, str]:
        """Return the file and the words that head a report."""
        return self.path, None, f"{self.due.exercise.shoot.id}: {self.name}"


class Carrier:
    """Gives a drill's report its record, which pytest-xdist carries to the process that notes it."""

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_makereport(
        self, item: pytest.Item, call: pytest.CallInfo[None]
    ) -> Generator[None, pytest.TestReport, pytest.TestReport]:
        """Add the record to the report of the call, and what is wrong today to that of a file's last test."""
        report = yield
        if call.when == "call" and isinstance(item, DrillItem) and item.carried is not None:
            report.drill = item.carried  # type: ignore[attr-defined] # pytest keeps what is added, if JSON has it
            item.carried = None
        if call.when == "teardown" and isinstance(item, DrillItem) and item.file.today is not None:
            report.drill_today = item.file.today  # type: ignore[attr-defined]
            item.file.today = None
        return report


def _guard(sheet: Sheet, *, no_ledger: bool) -> None:
    """Refuse to write inside a copy, as a run does. Errors: Mistakes."""
    studio = sheet.studio
    outputs = scratch_of(studio)
    outputs |= {} if no_ledger else {"[studio] ledger": studio.ledger}
    also = {f"the scenario {s.name}": Path(s.file) for s in sheet.scenarios} | {"this file": sheet.file}
    guard_outputs(studio, outputs, also=also)
    guard_outputs(studio, {} if no_ledger else {"[studio] ledger": headers_folder(studio.ledger)})
    check_scratch(studio)


def _ages_left(rehearsal: Rehearsal, exercise: Exercise) -> list[ProofAge] | None:
    """Return how old the proofs are on the copies that the scenario leaves; None without a ledger."""
    out = rehearsal.stage(exercise).out
    found = rehearsal.ages([exercise.shoot], anew=False)
    return [age for age in found[0].copies if age.copy not in out] if found else None


def _way_out(accepted: Accepted, exercise: Exercise) -> str:
    """Say what to do about a table that accepts what does not fall short: it may be right about others."""
    others = ["`shoot`"] if len(accepted.shoots) > 1 else []
    others += ["`variant`"] if exercise.variant is not None and accepted.variants != (exercise.variant,) else []
    if not others:
        return "Take that table out."
    return f"Name in its {' and '.join(others)} only what still falls short, or take that table out."


def _name(exercise: Exercise) -> str:
    return exercise.scenario.name if exercise.variant is None else f"{exercise.scenario.name}[{exercise.variant}]"


def _from(folder: str, path: Path) -> str:
    """Return a path as it may be typed in that folder."""
    return str(path.relative_to(folder)) if path.is_relative_to(folder) else str(path)


def _said(error: Mistakes | Unfinished) -> str:
    """Return what an error says, each of its mistakes on one line whatever names are in it."""
    return "\n".join(safe(str(one)) for one in (error.mistakes if isinstance(error, Mistakes) else [error]))


def _fail(text: str) -> NoReturn:
    """Fail in plain words, folded, without a traceback."""
    pytest.fail(_folded(text), pytrace=False)


def _folded(text: str) -> str:
    """Fold a text, but for a command that is to be copied."""
    lines = [[line] if line.startswith((REPEAT, CLOSER)) else fold(line, WIDTH) for line in map(safe, text.split("\n"))]
    return "\n".join(part for parts in lines for part in parts)
