"""`drill demo`: an invented studio with real files, drilled."""

import argparse
import tempfile
from pathlib import Path

from drill import audit, clock
from drill.cli.again import again
from drill.cli.run import REPORT_COLUMNS, recorded
from drill.cli.terminal import OK, UNFINISHED, Commands, columns, complain, progress
from drill.demo import LinkServer, lay_out, served_folder
from drill.ledger import Ledger
from drill.rehearse import Options
from drill.report import demo_end_text, demo_text, run_text
from drill.report.files import save_report
from drill.report.pages import run_page
from drill.report.words import safe
from drill.scenario import load_scenarios
from drill.studio import load_studio

DEMO_SEED = 7


def add_demo(commands: Commands) -> None:
    """Add the command to the parser."""
    demo = commands.add_parser(
        "demo",
        help="lay out an invented studio with real files, and drill it",
        description="Lay out an invented studio with real image files, copies, archives and a local link server; "
        "run every shipped scenario; leave the reports.",
    )
    demo.add_argument(
        "folder", nargs="?", type=Path, metavar="FOLDER", help="a new folder; default: a fresh temporary one"
    )
    demo.set_defaults(call=_demo)


def _demo(options: argparse.Namespace) -> int:
    folder: Path = options.folder or Path(tempfile.mkdtemp(prefix="drill-demo-"))
    complain(f"laying out an invented studio in {folder} …")
    with LinkServer(served_folder(folder)) as server:
        layout = lay_out(folder, link_base=server.base, now=clock.now())
        studio = load_studio(layout.studio_file)
        settings = Options(seed=DEMO_SEED, now=clock.now(), progress=progress)
        with Ledger.open(studio.ledger, warn=complain) as ledger:
            run = recorded(studio, load_scenarios([]), settings, ledger)
            looked = audit.Options(now=clock.now(), new_seed=DEMO_SEED, progress=progress)
            audited = audit.audit(studio, ledger, looked) if run.complete else None
    progress("")
    page = run_page(run, command=again(["run", str(layout.studio_file)], seed=DEMO_SEED, now=run.now))
    saved = save_report(studio.reports, run, run_text(run, width=REPORT_COLUMNS), page, warn=complain)
    print(demo_text(layout.notes, width=columns()))
    print(run_text(run, width=columns()), end="")
    if audited is None or not audited.complete:
        print("\n" + safe(f"The studio file to read and change: {layout.studio_file}"))
        print(safe(f"The report: {saved}"))
        return UNFINISHED
    print(f"\n{demo_end_text(audited, folder=str(folder), report=str(saved), width=columns())}", end="")
    return OK
