"""The judge of a search: the drill's own plan, restore and verify, over the bytes that a story leaves.

Flows in: scenes. Flows out: how many of the promised pictures come back. Must not know: how the scene came about. Each
scene is drilled once: written to scratch, flushed, read back and compared, as in any drill.
"""

from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from io import RawIOBase
from itertools import count
from pathlib import Path

from drill.copies import LinkSession, plain_view
from drill.model import Copy, Entry, Scenario, Shoot, Store, Studio, Targets
from drill.rehearse.bench import Case
from drill.rehearse.drill import bring_back
from drill.rehearse.holdings import Holdings
from drill.rehearse.links import set_bench
from drill.rehearse.opening import asking_order
from drill.rehearse.reads import Reads
from drill.rehearse.settle import Sizes
from drill.rehearse.stage import set_stage
from drill.search.scenes import Kept, Scenes
from drill.shelf import OpenCopy, State, fresh_folder
from drill.streams import InMemory

_FOLDER = "DCIM/100REED_/"
_NOTHING_WRONG = Scenario("story", "as the story ends", "", ())


class Judge:
    """Drills scenes; what came back of each is remembered."""

    def __init__(self, studio: Studio, scenes: Scenes, folder: Path, flusher: Executor) -> None:
        shoot = Shoot("story", date(2000, 1, 1), None, scenes.promise, Targets())
        self._studio, self._scenes = replace(studio, shoots=(shoot,)), scenes
        self._folder, self._flusher, self._numbers = folder, flusher, count()
        self._back: dict[int, int] = {}

    def back(self, scene: int) -> int:
        """Return how many promised pictures a drill brings back. Errors: Unfinished."""
        if scene not in self._back:
            self._back[scene] = self._drilled(scene)
        return self._back[scene]

    def is_lost(self, scene: int) -> bool:
        """Say whether something that is asked about was made, and cannot be brought back. Errors: Unfinished."""
        return self._scenes.of(scene).is_made and self.back(scene) < len(self._scenes.promise)

    def _drilled(self, scene: int) -> int:
        pairs = zip(self._scenes.media, self._scenes.of(scene).kept, strict=True)
        copies = {id_: self._opened(id_, kept) for id_, kept in pairs if kept.files is not None}
        studio = replace(self._studio, copies=tuple(found.copy for found in copies.values()))
        holdings = Holdings(copies, self._scenes.promise)
        cases = [Case(file, holdings.claims(file)) for file in self._scenes.promise]
        stage = set_stage(studio, _NOTHING_WRONG, None, copies=copies, seed=0, worst=lambda found, hazard: None)
        order = asking_order(cases, stage, copies=copies, sizes=Sizes(), buses=studio.buses)
        reads = Reads(
            self._folder / str(next(self._numbers)),
            kinds=["sha256"],
            flusher=self._flusher,
            keep=False,
            promised=holdings.promised,
        )
        with LinkSession() as session:
            bench = set_bench(stage, cases, copies=copies, reads=reads, session=session, promised=holdings.promised)
            bring_back(cases, order, bench=bench, holdings=holdings)
        return sum(case.is_back for case in cases)

    def _opened(self, id_: str, kept: Kept) -> OpenCopy:
        files = {_FOLDER + path: content for path, content in self._scenes.contents(kept).items()}
        store = Store(lambda: [Entry(path, len(content)) for path, content in files.items()], _opener(files))
        copy = Copy(id_, id_, None, None, "folder", None, None)
        medium = self._studio.media[id_]
        return OpenCopy(copy, medium, State.HERE, store=store, view=plain_view(store), entries=tuple(store.files()))


def _opener(files: Mapping[str, bytes]) -> Callable[[Entry], RawIOBase]:
    return lambda entry: InMemory(files[entry.path])


@contextmanager
def judging(studio: Studio, scenes: Scenes, scratch: Path | None) -> Iterator[Judge]:
    """Give a judge with a fresh folder in scratch, which is removed afterwards. Errors: Unfinished."""
    with (
        fresh_folder(scratch) as folder,
        ThreadPoolExecutor(len(scenes.promise), thread_name_prefix="flush") as flusher,
    ):
        yield Judge(studio, scenes, folder, flusher)
