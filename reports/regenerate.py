"""Regenerate the committed sample: what `drill demo` reports. Run: python reports/regenerate.py [FOLDER]

Writes demo.txt and demo.html (all scenarios) and demo.json (the record of four of them, to keep it small) into FOLDER,
by default beside this file, as of a fixed moment and seed. The temporary folder and the link server's port are written
as fixed words; the measured seconds are those of the computer it ran on.
"""

import re
import sys
import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from drill.demo import LinkServer, lay_out, served_folder
from drill.ledger import Ledger
from drill.record import dump
from drill.rehearse import Options, rehearse
from drill.report import demo_text, run_text
from drill.report.pages import run_page
from drill.scenario import load_scenarios
from drill.studio import load_studio

NOW = datetime(2026, 11, 24, 20, 0, tzinfo=UTC)
SEED = 7
IN_JSON = ("lost-tablet", "dead-card", "corrupted-archive-sector", "expired-cloud-link")


def main(into: Path) -> None:
    """Lay the demo out, drill it and write the sample."""
    with tempfile.TemporaryDirectory(prefix="drill-sample-") as aside:
        folder = Path(aside) / "studio"
        with LinkServer(served_folder(folder), clock=lambda: NOW) as server:
            layout = lay_out(folder, link_base=server.base, now=NOW)
            with Ledger.open(None) as ledger:
                settings = Options(seed=SEED, now=NOW, ledger=ledger)
                run = rehearse(load_studio(layout.studio_file), load_scenarios([]), settings)
        text = demo_text(layout.notes, width=80) + "\n" + run_text(run, width=80)
        few = replace(run, drills=tuple(drill for drill in run.drills if drill.scenario in IN_JSON))
        page = run_page(run, command=f"drill run demo-studio/studio.toml --seed {SEED} --now {run.now}")
        for name, content in (("demo.txt", text), ("demo.html", page), ("demo.json", dump(few))):
            plain = content.replace(str(folder), "demo-studio").replace(
                str(folder).replace("\\", "\\\\"), "demo-studio"
            )
            (into / name).write_text(re.sub(r"127\.0\.0\.1:\d+", "127.0.0.1:8080", plain), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
