"""Records of runs written out by hand: one drill that brings all back, one that does not, and a run of both."""

from dataclasses import replace

from drill.record import (
    ByteCount,
    Count,
    Drill,
    FileNote,
    FurtherFailures,
    LostWork,
    Run,
    Seconds,
    Unchecked,
)

GOOD = Drill(
    scenario="lost-tablet",
    variant="tablet",
    shoot="heron-ridge",
    verdict="restored",
    score=100.0,
    files=Count(2, 2, 0, 0),
    bytes=ByteCount(50, 50, 0, 0, 0),
    by_class={"originals": Count(2, 2, 0, 0)},
    sources={"drive": 2},
    stitched=0,
    unchecked=Unchecked(2, 0, 0),
    lost_files=(),
    on_paper_files=(),
    seconds=Seconds(0.1, 7520.0, 172800.0),
    lost_work=LostWork(None, None, met=True),
    further_failures=FurtherFailures(1, None, (("medium:drive", "place:home"),)),
)
LOST = replace(
    GOOD,
    scenario="house-fire",
    variant=None,
    shoot="otter",
    verdict="partial",
    score=50.0,
    files=Count(2, 1, 0, 1),
    by_class={"originals": Count(2, 1, 0, 1)},
    unchecked=Unchecked(0, 1, 1),
    lost_files=(FileNote("raw/\x1b[31mred\u202e.dng", "drive is gone"),),
    further_failures=FurtherFailures(-1, 1, ()),
    lost_work=LostWork("2026-09-12", None, met=True),
)
RUN = Run("Reed Bank", "2026-11-24T20:00:00Z", "2026-11-24T20:00:00Z", 7, True, ("dead-card",), (GOOD, LOST))
