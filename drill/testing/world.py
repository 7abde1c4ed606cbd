"""Small worlds as plain values: what each copy holds, what of it is rotten, under which names; laid out when needed.

A world: up to five promised files with different bytes, up to four copies on media in three places, each holding some
of the files under names of its own, some of them rotten. `strategies.worlds` draws them.

Flows in: a World. Flows out: a StudioFolder. Must not know: what goes wrong.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from drill.testing.folder import DAY, StudioFolder, studio_folder

SHOOT = "reed"
PLACES = ("bag", "home", "away")
MEDIA = ("m0", "m1", "m2", "m3")


@dataclass(frozen=True, slots=True)
class CopyPlan:
    """One copy: its place, which promised files it holds, which of these are rotten, whether its names are its own."""

    id: str
    place: str
    holds: frozenset[int]
    rotten: frozenset[int] = frozenset()
    renamed: bool = False
    listed: bool = False


@dataclass(frozen=True, slots=True)
class World:
    """A promise of `files` files, and copies, each on a medium of its own id."""

    files: int
    copies: tuple[CopyPlan, ...]

    def sound(self) -> "World":
        """Return the world without rot."""
        return replace(self, copies=tuple(replace(copy, rotten=frozenset()) for copy in self.copies))


def path_of(number: int) -> str:
    """Return the path that a world's file is promised under."""
    return f"raw/A{number:04d}.dng"


def content(number: int) -> bytes:
    """Return the promised bytes of a world's file."""
    return f"picture {number} ".encode() * (300 + 50 * number)


def path_on(copy: CopyPlan, number: int) -> str:
    """Return the path of a world's file on a copy."""
    return f"DCIM/100REED_/R{number + 7:04d}.DNG" if copy.renamed else path_of(number)


@contextmanager
def laid_out(world: World, under: Path | None = None) -> Iterator[StudioFolder]:
    """Lay a world out as a studio in a fresh folder inside `under`, removed at the end. Errors: OSError."""
    with studio_folder(under, media={}, shoots={}) as studio:
        studio.add_shoot(SHOOT, {path_of(n): content(n) for n in range(world.files)}, on=DAY)
        for copy in world.copies:
            studio.add_medium(copy.id, "ssd", copy.place)
            stored = {
                path_on(copy, n): content(n)[::-1] if n in copy.rotten else content(n) for n in sorted(copy.holds)
            }
            told = copy.listed and copy.holds and not copy.renamed
            says = {path_on(copy, n): content(n) for n in sorted(copy.holds)} if told else False
            studio.add_copy(copy.id, holds=stored, says=says)
        yield studio
