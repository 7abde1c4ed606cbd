"""The committed sample in reports/ has the structure that reports have today; `python reports/regenerate.py` mends it.

Here it is held against what today's reports make of the sample's own record, without a drill; in
`tests/e2e/test_sample_fresh.py` against a fresh one.
"""

import json
from pathlib import Path

from shapes import headings, keys, sections
from told import RUN

from drill.record import Run, drill_from_json, to_json
from drill.report import run_text
from drill.report.pages import run_page
from drill.scenario import load_scenarios

SAMPLE = Path(__file__).parents[2] / "reports"
STALE = "the sample is stale: python reports/regenerate.py"


def _told() -> Run:
    """The sample's run as far as its record tells it."""
    value = json.loads((SAMPLE / "demo.json").read_text(encoding="utf-8"))
    drills = tuple(drill_from_json(drill) for drill in value["drills"])
    rest = {key: value[key] for key in ("studio", "started", "now", "seed", "complete")}
    titles = {scenario.name: scenario.title for scenario in load_scenarios([])}
    return Run(**rest, titles=titles, not_applicable=tuple(value["not_applicable"]), drills=drills)


def test_the_record_has_the_keys_of_today() -> None:
    value = json.loads((SAMPLE / "demo.json").read_text(encoding="utf-8"))
    ours = to_json(RUN)
    assert list(value) == list(ours), STALE
    for drill in value["drills"]:
        assert list(drill) == list(ours["drills"][0]), STALE
    assert keys(to_json(_told())) == keys(value), STALE


def test_the_text_has_the_tables_of_today() -> None:
    now = sections(run_text(_told(), width=80))
    assert len(now) >= 3
    assert now <= sections((SAMPLE / "demo.txt").read_text(encoding="utf-8")), STALE


def test_the_page_has_the_headings_of_today() -> None:
    now = headings(run_page(_told(), command="drill run demo-studio/studio.toml --seed 7"))
    assert len(now) >= 3
    assert now <= headings((SAMPLE / "demo.html").read_text(encoding="utf-8")), STALE
