"""Reports: the record of a run as tables and plain words. Must not know: views, faults, files of the studio."""

from drill.report.text import demo_text, run_text, scenarios_text

__all__ = ["demo_text", "run_text", "scenarios_text"]
