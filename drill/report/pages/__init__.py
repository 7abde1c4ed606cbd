"""Pages: a record as one self-contained HTML file. `base` is what all of them share, one module for each command.

Flows in: records. Flows out: HTML text. Must not know: views, faults, files of the studio.
"""

from drill.report.pages.run import run_page

__all__ = ["run_page"]
