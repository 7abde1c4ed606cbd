"""Reports: the record of a run as tables and plain words. Must not know: views, faults, files of the studio."""

from drill.report.demo_text import demo_end_text, demo_text
from drill.report.text import run_text, scenarios_text

__all__ = ["demo_end_text", "demo_text", "run_text", "scenarios_text"]
