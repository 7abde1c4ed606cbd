"""The run as a test report that continuous integration reads: one case for each shoot in each scenario.

Flows in: the record. Flows out: XML text. Must not know: views, faults, terminals, files.
The form is the Ant JUnit XML Schema (Windy Road, windyroad/JUnit-Schema, JUnit.xsd), also as it was before it knew
`skipped`: scenarios that are not about this studio make no case and stand in the properties. A shoot is a suite. What
falls short is a failure whose type is the verdict (`target`: all is back, too few further failures are survivable);
that the run did not end is an error. XML 1.0 has no control characters and no lone surrogates (section 2.2, Char), so
names are written as on a terminal.
"""

from collections.abc import Sequence
from xml.etree import ElementTree as ET

from drill import units
from drill.record import SCHEMA, Drill, FileNote, Run
from drill.report.spot_text import is_only_left_out
from drill.report.text import NOT_PROVED, to_do, weakest
from drill.report.words import safe

MOST_FILES = 10
HOST = "localhost"  # the schema asks for a host; a report that is handed round need not name anybody's computer


def junit_text(run: Run) -> str:
    """Return the test report of a run: one suite a shoot, one case a drill; seconds are those measured."""
    root = ET.Element("testsuites")
    shoots: dict[str, list[Drill]] = {}
    for drill in run.drills:
        shoots.setdefault(drill.shoot, []).append(drill)
    for shoot, drills in shoots.items():
        cases = [_case(drill, run.titles.get(drill.scenario, drill.scenario)) for drill in drills]
        root.append(_suite(run, len(root), safe(shoot), cases))
    if not run.complete:
        root.append(_suite(run, len(root), "whole run", [_not_finished(run)]))
    ET.indent(root)
    written: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return written.decode() + "\n"


def _suite(run: Run, number: int, name: str, cases: Sequence[ET.Element]) -> ET.Element:
    failures, errors = (sum(case.find(kind) is not None for case in cases) for kind in ("failure", "error"))
    suite = ET.Element(
        "testsuite",
        id=str(number),
        package=safe(run.studio),
        name=name,
        timestamp=run.started.removesuffix("Z"),  # UTC; the schema allows no zone
        hostname=HOST,
        tests=str(len(cases)),
        failures=str(failures),
        errors=str(errors),
        time=_seconds(sum(float(case.attrib["time"]) for case in cases)),
    )
    properties = ET.SubElement(suite, "properties")
    said = {"schema": SCHEMA, "studio": run.studio, "started": run.started, "now": run.now, "seed": str(run.seed)}
    said["not about this studio"] = ", ".join(run.not_applicable)
    for key, value in said.items():
        ET.SubElement(properties, "property", name=key, value=safe(value))
    suite.extend(cases)
    ET.SubElement(suite, "system-out").text = NOT_PROVED
    ET.SubElement(suite, "system-err")
    return suite


def _case(drill: Drill, title: str) -> ET.Element:
    name = drill.scenario + (f" ({drill.variant})" if drill.variant else "")
    case = ET.Element("testcase", classname=safe(drill.shoot), name=safe(name), time=_seconds(drill.seconds.measured))
    if drill.falls_short:
        kind = "target" if drill.verdict == "restored" else drill.verdict
        failure = ET.SubElement(case, "failure", type=kind, message=_in_short(drill))
        failure.text = "\n".join(safe(line) for line in _reasons(drill, title))
    return case


def _not_finished(run: Run) -> ET.Element:
    case = ET.Element("testcase", classname="whole run", name="came to its end", time=_seconds(0))
    reason = safe(run.unfinished or "stopped")
    error = ET.SubElement(case, "error", type="unfinished", message=f"not finished: {reason}")
    error.text = f"Not finished: {reason}\nDrills that are not here were not made."
    return case


def _in_short(drill: Drill) -> str:
    """Say in one line what falls short."""
    files, said = drill.files, []
    if files.lost:
        said.append(f"{files.lost} of {files.promised} files lost")
    if files.on_paper:
        said.append(f"{files.on_paper} of {files.promised} files only on paper")
    if drill.verdict == "late":
        said.append(f"all back, in {_takes(drill)}")
    further = drill.further_failures
    if further.target is not None and 0 <= further.survivable < further.target:
        many = "1 further failure" if further.survivable == 1 else f"{further.survivable} further failures"
        said.append(f"{many} survivable afterwards, target {further.target}")
    return "; ".join(said)


def _reasons(drill: Drill, title: str) -> list[str]:
    files, work, hand = drill.files, drill.lost_work, drill.unchecked
    if is_only_left_out(drill):
        lines = ["Nothing is lost. A spot check left files out, and these stay on paper until they are read."]
    else:
        lines = [to_do(drill, title)]
    lines.append(
        f"Files: {files.promised} promised, {files.verified} back, {files.on_paper} on paper, {files.lost} lost."
    )
    if files.verified or files.on_paper:
        lines.append(f"A real restore takes {_takes(drill)}.")
    if work.oldest_lost is not None:
        allowed = "" if work.target_seconds is None else f"; the target allows {units.say_span(work.target_seconds)}"
        lines.append(f"The lost work reaches back to {work.oldest_lost}{allowed}.")
    if drill.further_failures.survivable >= 0:
        lines.append(f"What would take files then: {weakest(drill)}.")
    lines.append(
        f"By hand: {hand.right} right, {hand.silently_wrong} WRONG without any error message, {hand.failed} fail."
    )
    return [*lines, *_named("Lost", drill.lost_files), *_named("On paper", drill.on_paper_files)]


def _named(title: str, notes: Sequence[FileNote]) -> list[str]:
    if not notes:
        return []
    more = len(notes) - MOST_FILES
    shown = [f"  {note.path}: {note.why}" for note in notes[:MOST_FILES]]
    return [f"{title}:", *shown, *([f"  and {more} more"] if more > 0 else [])]


def _takes(drill: Drill) -> str:
    seconds = drill.seconds
    target = "" if seconds.target is None else f", the target is {units.say_span(seconds.target)}"
    return units.say_span(seconds.projected) + target


def _seconds(span_s: float) -> str:
    return f"{span_s:.3f}"  # xs:decimal knows no exponent
