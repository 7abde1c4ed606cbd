"""A small studio whose every free text tries to be markup, an escape sequence or a reversed line.

Flows in: a folder. Flows out: a studio laid there, and the pages the program writes of it, each made once. Names stand
in lists and in an archive, not on disk, so that any file system will do. What would be made of them if one were
believed is an element or an attribute named `mischief`, or a dialog.
"""

import zipfile
from functools import cached_property
from hashlib import sha256
from pathlib import Path
from random import Random

from runner import NOW, start

NAMES = (
    "<script>alert('mischief')</script>.dng",
    "<img src=mischief onerror=alert(1)>.dng",
    '"><img src=mischief onerror=alert(2)>.dng',
    "' onfocus='alert(3)' autofocus mischief='.dng",
    "</style></title></table></details><mischief>.dng",
    "--><mischief>.dng",
    "&lt;mischief&gt;&#x202e;&amp;.dng",
    "{{ 7 * 7 }}{% mischief %}.dng",
    "reed-\u202egnd.exe",  # right-to-left override: shown as "reed-exe.dng" where it is obeyed
    "reed-\u2066mischief\u2069\u200b\ufeff.dng",
    "\x1b[2J\x1b]0;mischief\x07\x9b31m.dng",
    "line\nbreak\u2028break\u2029.dng",
    "צילום-השדה.dng",
    "写真-葦の原-が.dng",
    "a" * 180 + ".dng",
    "plain-reed-0001.dng",
)
FOLDER = "reed <b id=mischief>flood</b>"
CLIENT = '"><img src=mischief onerror=alert(5)> Trust'
TITLE = 'The <mischief> tablet\u202e is "lost" & \x1b[31mgone'


def _toml(text: str) -> str:
    """Write a basic string, every odd character as an escape."""
    plain = "".join(c if c.isprintable() and c not in '"\\' else f"\\U{ord(c):08X}" for c in text)
    return f'"{plain}"'


def _listed(names: dict[str, bytes]) -> str:
    lines = []
    for name, content in names.items():
        mark = "\\" if "\\" in name or "\n" in name else ""
        written = name.replace("\\", "\\\\").replace("\n", "\\n")
        lines.append(f"{mark}{sha256(content).hexdigest()}  {written}\n")
    return "".join(lines)


class Laid:
    """The studio, laid in `folder`; each page is a file there, written by the command itself when first asked for."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lay_files()
        self.studio = folder / "studio.toml"
        self.studio.write_text(_STUDIO, encoding="utf-8")
        self.scenario = folder / "<img src=mischief onerror=alert(4)>.toml"
        self.scenario.write_text(
            f"title = {_toml(TITLE)}\nstory = {_toml('Left on a train. ' + NAMES[1])}\n"
            '[[hazards]]\neffect = "gone"\nhits = { kind = "tablet" }\neach = "medium"\n',
            encoding="utf-8",
        )

    def _lay_files(self) -> None:
        dice = Random(7)
        flood = {f"{FOLDER}/{name}": dice.randbytes(40_000) for name in NAMES}
        dawn = {f"heron/h{n}.dng": dice.randbytes(5000) for n in range(4)}
        for name, files in (("flood", flood), ("dawn", dawn)):
            (self.folder / f"{name}.sha256").write_text(_listed(files), encoding="utf-8", newline="\n")
        for medium in ("tablet", "kiln"):
            (self.folder / medium / "heron").mkdir(parents=True)
            for name, content in dawn.items():
                (self.folder / medium / name).write_bytes(content)
        (self.folder / "kiln" / "heron" / "h1.dng").write_bytes(b"\0" * 5000)  # rotten, and known to be
        self.archive = self.folder / "kiln" / "reed.zip"
        with zipfile.ZipFile(self.archive, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, content in list(flood.items())[::2]:
                archive.writestr(name, content)

    def kept(self, name: str, text: str) -> Path:
        """Keep a page that was made in another way."""
        page = self.folder / f"{name}.html"
        page.write_text(text, encoding="utf-8")
        return page

    def _written(self, name: str, *command: str | Path) -> Path:
        page = self.folder / f"{name}.html"
        outcome = start(*command, "--html", page, cwd=self.folder)
        assert outcome.code in (0, 1), outcome.said
        return page

    @cached_property
    def run(self) -> Path:
        """Drill the hostile scenario and four shipped ones."""
        chosen = [self.scenario, "house-fire", "dead-card", "silent-rot", "malicious-encryption"]
        named = [part for each in chosen for part in ("--scenario", each)]
        return self._written("run", "run", self.studio, *named, "--seed", "7", "--now", NOW)

    @cached_property
    def audit(self) -> Path:
        """Audit all copies, one of them damaged, one without most of what its list says."""
        return self._written("audit", "audit", self.studio, "--seed", "7")

    @cached_property
    def history(self) -> Path:
        """Tell of the drill and the audit."""
        assert self.run and self.audit  # each leaves its part in the ledger
        return self._written("history", "history", self.studio)

    @cached_property
    def letter(self) -> Path:
        """Prove what can be proved for the client with the odd name, as it is."""
        assert self.run and self.audit  # it tells of the last ones
        out = self.folder / "proof"
        keys = {"DRILL_KEYS": str(self.folder.with_name("keys"))}
        command = ("attest", self.studio, "--client", CLIENT, "--out", out, "--as-is")
        outcome = start(*command, cwd=self.folder, env=keys)
        assert outcome.code in (0, 1) and out.is_dir(), outcome.said
        return out / "letter.html"

    @cached_property
    def forecast(self) -> Path:
        """Lay a shipped scheme over a year."""
        return self._written("forecast", "forecast", "card-and-tablet", "--now", NOW)

    @cached_property
    def comparison(self) -> Path:
        """Set two shipped schemes side by side."""
        schemes = ("card-and-tablet", "--compare", "checked-and-early")
        return self._written("comparison", "forecast", *schemes, "--now", NOW)

    @cached_property
    def sectors(self) -> Path:
        """Map the archive."""
        return self._written("sectors", "bad-sector", self.archive)


_STUDIO = f"""\
[studio]
name = {_toml("Saltmarsh </title><mischief> Light")}
[targets]
restore_within = "48 h"
lose_at_most = "24 h"
further_failures = 1
verified_within = "100 days"
[classes]
deliverables = ["*mischief onerror*", "plain-*"]
originals = ["*.dng"]
[[places]]
id = "bag"
carried = true
[[media]]
id = "tablet"
kind = "tablet"
place = "bag"
[[media]]
id = "kiln"
kind = "hard-disk"
place = "house"
[[media]]
id = "attic"
kind = "hard-disk"
place = "house"
[[shoots]]
id = "reed-flood"
date = 2026-09-12
client = {_toml(CLIENT)}
manifest = "flood.sha256"
[[shoots]]
id = "heron-dawn"
date = 2026-10-03
manifest = "dawn.sha256"
[[copies]]
on = "tablet"
at = "tablet"
[[copies]]
on = "kiln"
at = "kiln/heron"
[[copies]]
id = "kiln-zip"
on = "kiln"
at = "kiln/reed.zip"
manifest = "flood.sha256"
[[copies]]
on = "attic"
manifest = "dawn.sha256"
"""
