"""What `drill demo` says around its report: what was planted before it, what was audited and what to try next after it.

Flows in: notes, the record of an audit. Flows out: text. Must not know: files, how anything was laid out.
"""

from collections.abc import Sequence

from drill.auditrecord import Audit
from drill.report.words import paragraph, safe

_NEXT = (
    ("survey studio.toml", "what is promised, and where; reads no picture"),
    ("audit studio.toml", "are the bytes on each copy still right?"),
    ("history studio.toml", "what came of it so far, and what is due"),
    ("forecast studio.toml", "when is a new shoot in danger, and how are these?"),
    ("search studio.toml", "the shortest story that loses a shoot"),
    ("retire studio.toml card", "may the card be formatted?"),
)
_TEST = ("pytest studio.toml", "the same drills as tests, where pytest is installed")


def demo_text(notes: Sequence[str], *, width: int = 80) -> str:
    """Return what the demo's studio has planted, before its report."""
    head = paragraph(
        "Everything in this studio is invented. These gaps and damages were planted; see which drill finds them:", width
    )
    return head + "\n" + "\n".join(paragraph(safe(note), width, first="- ", rest="  ") for note in notes) + "\n"


def demo_end_text(audited: Audit, *, folder: str, report: str, width: int = 80) -> str:
    """Return what follows the report: what an audit found, where all this lies, and what to try next."""
    reached = [copy for copy in audited.copies if copy.reached]
    verified, damaged = sum(copy.counts["verified"] for copy in reached), sum(copy.damaged for copy in reached)
    said = (
        f"After the drill the bytes of all {len(reached)} copies that can be reached were audited: {verified:,} files "
        f"are right, {damaged:,} damaged or missing. Both are in the demo's ledger now."
    )
    steps = [(f"drill {command}", what) for command, what in _NEXT] + [_TEST]
    tried = "\n".join(paragraph(what, width, first=f"  {command:31}", rest="      ") for command, what in steps)
    links = "The demo's link server has stopped: from now on its links cannot be reached."
    where = f"The report: {safe(report)}\nThe studio file to read and change is in {safe(folder)}. There, try next:"
    return f"{paragraph(said, width)}\n\n{where}\n{tried}\n{paragraph(links, width)}\n"
