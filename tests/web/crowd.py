"""A run of many shoots in 15 scenarios, drawn with a fixed seed; 200 are the most that a page must hold.

Flows in: how many shoots. Flows out: a record. The numbers hang together as a real record's do; the
scenarios' names are long.
"""

from random import Random

from drill.record import ByteCount, Count, Drill, FileNote, FurtherFailures, LostWork, Run, Seconds, Unchecked

SCENARIOS, PROMISED = 15, 400
WHY = "bad sector in archive-a (7z, one block); not on cloud, attic-disk; kiln is gone"
SIZE = 24_000_000


def crowd(shoots: int) -> Run:
    """Return the run of so many shoots."""
    dice = Random(7)
    drills = [_drill(dice, shoot, scenario) for scenario in range(SCENARIOS) for shoot in range(shoots)]
    titles = {f"what-goes-wrong-{n:02}": f"What goes wrong, the {n}th of many things" for n in range(SCENARIOS)}
    moment = "2026-11-24T20:00:00Z"
    return Run("Saltmarsh Light", moment, moment, 7, True, (), tuple(drills), titles)


def _drill(dice: Random, shoot: int, scenario: int) -> Drill:
    lost = dice.choice((0, 0, 0, 1, 17, PROMISED))
    on_paper = dice.choice((0, 0, PROMISED // 4)) if lost < PROMISED else 0
    back = PROMISED - lost - on_paper
    verdict = "lost" if not back + on_paper else "partial" if lost else "unproven" if on_paper else "restored"
    notes = [FileNote(f"2026/shoot-{shoot}/RAW/REED{n:04}.DNG", WHY) for n in range(lost)]
    paper = [FileNote(f"2026/shoot-{shoot}/RAW/KILN{n:04}.DNG", "only on attic-disk") for n in range(on_paper)]
    counted = (PROMISED, back, on_paper, lost)
    return Drill(
        scenario=f"what-goes-wrong-{scenario:02}",
        variant=dice.choice((None, "archive-a")),
        shoot=f"shoot-{shoot:03}",
        verdict=verdict,
        score=100 * back // PROMISED,
        files=Count(*counted),
        bytes=ByteCount(*(SIZE * n for n in counted), 0),
        by_class={"originals": Count(*counted)},
        sources={"archive-a": back // 2, "kiln": back - back // 2} if back else {},
        stitched=0,
        unchecked=Unchecked(back, dice.choice((0, 3)) if lost else 0, 0),
        lost_files=notes,
        on_paper_files=paper,
        seconds=Seconds(41.2, back * 19.0, 172800.0),
        lost_work=LostWork("2026-09-12" if lost else None, 86400.0, not lost),
        further_failures=FurtherFailures(-1 if lost else dice.choice((0, 1)), 1, () if lost else (("medium:kiln",),)),
    )
