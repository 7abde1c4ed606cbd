"""`drill demo`: an invented studio with real files, drilled."""

import argparse
import tempfile
from pathlib import Path

from drill import clock
from drill.cli.run import REPORT_COLUMNS
from drill.cli.terminal import OK, UNFINISHED, Commands, columns, complain, progress
from drill.demo import LinkServer, lay_out, served_folder
from drill.rehearse import Options, rehearse
from drill.report import demo_text, run_text
from drill.report.files import save_report
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
        run = rehearse(studio, load_scenarios([]), settings)
    progress("")
    saved = save_report(studio.reports, run, run_text(run, width=REPORT_COLUMNS))
    print(demo_text(layout.notes, width=columns()))
    print(run_text(run, width=columns()), end="")
    print(f"\nThe studio file to read and change: {layout.studio_file}\nThe report: {saved}")
    print("The demo's link server has stopped, so in a later run its links count as not reachable.")
    return OK if run.complete else UNFINISHED
