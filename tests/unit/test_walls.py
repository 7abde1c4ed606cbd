"""The house: a room imports only from lower floors, rooms on one floor do not know each other, only doors print."""

import ast
import subprocess
import sys
from functools import cache
from pathlib import Path

import drill

PACKAGE = Path(drill.__file__).parent
FLOORS = (
    ("errors", "model", "units", "clock", "globs", "phrases", "quick", "streams", "digestkinds"),
    (
        "digests",
        "filekind",
        "tables",
        "followers",
        "record",
        "inventory",
        "auditrecord",
        "historyrecord",
        "retirerecord",
        "recoverrecord",
        "proposal",
        "naming",
        "capture",
        "sampling",
        "rates",
        "duedate",
        "extents",
        "sectorrecord",
        "columns",
        "timing",
        "standingrecord",
        "advicerecord",
        "searchrecord",
        "proofrecord",
    ),
    ("manifests", "copies", "ledger", "lookup", "schemeodd", "forecastrecord", "promisemark"),
    ("structure", "salvage", "schemefile"),
    ("studio", "shelf", "soundness"),
    (
        "guard",
        "scenario",
        "coverage",
        "plan",
        "faulttree",
        "timeline",
        "reading",
        "radius",
        "stitching",
        "insurance",
        "masks",
    ),
    ("faults", "evidence", "measured", "further", "places", "history", "comparing", "odds", "stages", "seal"),
    ("restore", "verify", "score", "bands", "advice", "edits"),
    ("rehearse", "audit", "retire", "survey", "intake", "enlist", "forecast", "attest"),
    ("recover", "standing", "search"),
    ("report", "demo"),
    ("testing", "expectations"),
    ("cli", "pytest_plugin"),
    ("__main__",),
)
FLOOR_OF = {room: number for number, rooms in enumerate(FLOORS) for room in rooms}


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


@cache  # several laws look at each of some hundred modules
def nodes_of(path: Path) -> tuple[ast.AST, ...]:
    return tuple(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


def imports_of(path: Path) -> set[str]:
    found: set[str] = set()
    for node in nodes_of(path):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "drill":
            parts = node.module.split(".")
            found |= {parts[1]} if len(parts) > 1 else {alias.name for alias in node.names}
    return found - {"__version__"}


def modules() -> list[Path]:
    return [path for path in PACKAGE.rglob("*.py") if path != PACKAGE / "__init__.py"]


def test_every_room_has_a_floor() -> None:
    assert {room_of(path) for path in modules()} == set(FLOOR_OF)


def test_rooms_import_only_from_lower_floors() -> None:
    wrong = [
        f"{path.relative_to(PACKAGE)} imports {other}"
        for path in modules()
        for other in imports_of(path)
        if other != room_of(path) and FLOOR_OF[other] >= FLOOR_OF[room_of(path)]
    ]
    assert not wrong


def test_the_walls_that_keep_it_honest() -> None:
    judge, writer = imports_of(PACKAGE / "verify.py"), imports_of(PACKAGE / "restore.py")
    assert judge <= {"digests", "model"}  # the judge never sees the plan, the faults, or what restore claims
    assert writer <= {"clock", "errors", "model"}  # restore cannot tell a faulted view from a real one


def test_nothing_that_people_run_can_damage_a_copy() -> None:
    users = {room_of(path) for path in modules() if "testing" in imports_of(path)}
    assert users <= {"testing", "pytest_plugin"}  # the plugin offers its fixtures


def test_no_module_is_a_pantry() -> None:
    long = {str(p.relative_to(PACKAGE)): n for p in modules() if (n := len(p.read_text("utf-8").splitlines())) > 400}
    assert not long


def test_no_lazy_import_hides_a_cycle() -> None:
    for path in modules():
        if path.name == "__main__.py":
            continue  # above all rooms: it hides nothing, and loads the program where Ctrl-C is met
        for node in nodes_of(path):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                for inner in ast.walk(node):
                    # What a format alone needs may be loaded with its reader: a part of the same room hides no cycle,
                    # nor does a library.
                    assert not isinstance(inner, ast.Import), path
                    module = (isinstance(inner, ast.ImportFrom) and inner.module) or ""
                    assert module.partition(".")[0] != "drill" or module == f"drill.{room_of(path)}", path


def test_a_start_loads_no_library_that_only_some_runs_need() -> None:
    heavy = {"py7zr", "urllib3", "wcwidth", "PIL"}
    asked = "import sys, drill.cli, drill.cli.survey; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", asked], check=True, capture_output=True, text=True).stdout.split()
    assert not heavy & set(loaded)


def test_restore_is_the_only_writer_and_only_doors_print() -> None:
    for path in modules():
        calls = {
            node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            for node in nodes_of(path)
            if isinstance(node, ast.Call)
        }
        reads_only = room_of(path) in ("copies", "manifests", "faults", "coverage", "plan", "verify", "score")
        # A link's archive is fetched into scratch, and a checksum list is written whole; both where their caller says.
        if reads_only and path.name not in ("link.py", "lists.py"):
            assert not calls & {
                "write_bytes",
                "write_text",
                "unlink",
                "rename",
                "replace_file",
                "rmtree",
                "utime",
                "chmod",
            }
        if room_of(path) not in ("cli", "__main__"):
            assert "print" not in calls, path
