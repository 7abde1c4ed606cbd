"""A scheme in which one story of three mishaps loses a shoot, and none of fewer, among much that may go wrong in vain.

At home the camera's card is copied to three drives and erased a fortnight later, whatever came of that. Kiln and heron
never fail (that is left out), marsh is never forgotten: who forgets both of the former and loses the latter has
nothing. Five more media hold the shoot for some days, eleven steps more are done: noise.
"""

from schemes import DAY_S, HOUR_S, NEVER_S, medium, step, studio

from drill.model import Studio

PLANTED = ("forget:to-heron", "forget:to-kiln", "medium:marsh")
DRIVES = ("kiln", "heron", "marsh")
NOISE = ("reed", "tablet", "computer", "phone", "shelf")
# What would be another story: all that makes the sound drives less than sound, and the last copy easy to lose.
WITHOUT = (
    *("place", "rot", "early", "forget:to-marsh", "medium:card"),
    *(f"medium:{id_}" for id_ in ("kiln", "heron")),
)


def planted_studio() -> Studio:
    """Return the studio; nothing is replaced, so that mishaps may come at any time."""
    media = [medium("card", "card"), *(medium(id_) for id_ in DRIVES), *(medium(id_, attached=True) for id_ in NOISE)]
    steps = [
        *(step(f"to-{id_}", "copy", "card", id_, after_s=(n + 1) * HOUR_S) for n, id_ in enumerate((*DRIVES, *NOISE))),
        step("check-kiln", "verify", None, "kiln", after_s=3 * DAY_S, only_once_on=("kiln",)),
        *(step(f"clear-{id_}", "erase", id_, after_s=10 * DAY_S) for id_ in NOISE),
        step("format", "erase", "card", after_s=14 * DAY_S),
    ]
    return studio(media, steps, ["card"], replaced_within_s=NEVER_S)
