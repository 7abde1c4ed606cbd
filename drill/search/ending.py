"""The ending: what a story leaves on each medium, as a scenario file that can be drilled on the real copies.

Flows in: a story of the record. Flows out: the text of a scenario file. Must not know: copies. Media on which the right
bytes are left are not hit.
"""

from collections.abc import Mapping

from drill.searchrecord import Story
from drill.tables import quoted

# Of each file that a hazard alters the first byte is another one: as in the story, no copy of it is right.
_HAZARDS: Mapping[str, str] = {
    "failed": 'effect = "gone"',
    "not there": 'effect = "deleted"',
    "wrong": 'effect = "altered"\noffsets = [0]',
}


def scenario_text(story: Story) -> str:
    """Return a scenario file with one hazard for each way in which media no longer hold what the story took."""
    told = [f"{one.local} {one.words}" for one in story.happenings]
    lost = next((one.words for one in story.happenings if not one.by_plan), "nothing but the plan")
    many = "1 mishap" if len(story.mishaps) == 1 else f"{len(story.mishaps)} mishaps"
    parts = [
        "# How a story that `drill search` found ends, to be drilled on the real copies.\n"
        "# What it leaves as it was is not named.",
        f"title = {quoted(f'A story of {many}: {lost} …')}\nstory = {quoted('; '.join(told))}",
    ]
    for left, effect in _HAZARDS.items():
        media = [end.medium for end in story.ends if end.left == left]
        if media:
            parts.append(f"[[hazards]]\n{effect}\nhits = {{ medium = [{', '.join(map(quoted, media))}] }}")
    return "\n\n".join(parts) + "\n"
