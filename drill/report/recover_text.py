"""The recovery as text: what is back, shoot by shoot; what is missing, where it last was, what might bring it back.

Flows in: the record of a recovery. Flows out: text. Must not know: files, copies, terminals (the width is given).
"""

from collections.abc import Sequence

from drill import units
from drill.phrases import count_files
from drill.recoverrecord import InPart, LastSeen, Missing, Recovery, ShootBack, Way
from drill.report.words import listed, paragraph, safe, table

MOST_NAMED = 10
HEADING = "Still missing"

NOT_PROVED = (
    "What is back was read again from this disk and has the promised bytes, to the last one. It is one copy again: "
    "make the others before you do anything else, and check the lists from time to time."
)


def recover_text(record: Recovery, *, width: int = 80) -> str:
    """Return the whole report."""
    parts = [paragraph(safe(_head(record)), width), _table(record, width)]
    parts += [listed("Back under another name", _elsewhere(record), width)]
    parts += [listed("Do not use: under a promised name, with other bytes than promised", _others(record), width)]
    parts += [listed("Back in part only", _in_parts(record), width)]
    parts += [_missing(shoot, width, in_full=False) for shoot in record.shoots]
    parts += [listed("What might bring it back", _steps(record.shoots), width), listed("To know", record.notes, width)]
    parts += [paragraph(NOT_PROVED, width) if any(shoot.found + shoot.restored for shoot in record.shoots) else ""]
    return "\n\n".join(part for part in parts if part) + "\n"


def missing_text(record: Recovery, shoot: ShootBack, *, width: int = 100) -> str:
    """Return the list of all that is still missing of a shoot, to be kept beside it; "" where nothing is."""
    if shoot.is_back:
        return ""
    head = f"{HEADING} as of {record.now} ({record.studio}). Run the same command again when something has turned up."
    if record.unfinished:
        head += f" The last run was not finished: {record.unfinished}."
    parts = [paragraph(safe(head), width), _missing(shoot, width, in_full=True)]
    parts += [listed("What might bring it back", _steps([shoot]), width)]
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(record: Recovery) -> str:
    promised = sum(shoot.promised for shoot in record.shoots)
    back = sum(shoot.found + shoot.restored for shoot in record.shoots)
    found = sum(shoot.found for shoot in record.shoots)
    first = f"{back:,} of {count_files(promised)} {'is' if back == 1 else 'are'} back"
    if back == promised:
        first = "The one file is back" if back == 1 else f"All {count_files(promised)} are back"
    text = f"{record.studio}: {first} in {record.into}"
    text += f", {found:,} of them were there already" if found else ""
    text += f". In this run {units.say_size(record.bytes_restored)} came in {units.say_span(record.seconds)}."
    text += f" Lost: {', '.join(key.replace(':', ' ', 1) for key in record.lost)}." if record.lost else ""
    return f"NOT FINISHED ({record.unfinished}). {text}" if record.unfinished else text


def _table(record: Recovery, width: int) -> str:
    rows = []
    for shoot in record.shoots:
        counts = [
            sum(file.outcome == outcome for file in shoot.missing) for outcome in ("on_paper", "lost", "not_tried")
        ]
        sources = ", ".join(f"{id_} {n:,}" for id_, n in shoot.sources.items()) or "-"
        sources += f"; {shoot.stitched:,} of these put together" if shoot.stitched else ""
        back = f"{shoot.found + shoot.restored:,}/{shoot.promised:,}"
        rows.append(
            [shoot.shoot, back, units.say_size(shoot.bytes), *(f"{n:,}" if n else "-" for n in counts), sources]
        )
    headers = ["Shoot", "Back", "Bytes", "On paper", "Lost", "Not tried", "Came now from"]
    return table(headers, rows, width, right=(1, 2, 3, 4, 5), firm=(0,))


def _elsewhere(record: Recovery) -> list[str]:
    said = [(shoot.shoot, file) for shoot in record.shoots for file in shoot.elsewhere]
    lists = [(shoot.shoot, name) for shoot in record.shoots for name in shoot.lists if _stepped_aside(shoot, name)]
    told = [f"the checksum list of {id_} is {name} (a file of yours has the name of the list)" for id_, name in lists]
    return told + _some([f"{id_}: {file.path} is {file.put} ({file.why})" for id_, file in said])


def _stepped_aside(shoot: ShootBack, name: str) -> bool:
    return name.startswith(f"{shoot.shoot}.as-promised.")


def _others(record: Recovery) -> list[str]:
    return _some([name for shoot in record.shoots for name in shoot.not_as_promised])


def _in_parts(record: Recovery) -> list[str]:
    parts = [part for shoot in record.shoots for part in shoot.in_parts]
    return _some([f"{part.put}: {_lacks(part)}" for part in parts])


def _lacks(part: InPart) -> str:
    if part.bytes_missing is None:
        return "some of its bytes are wrong or missing, and nobody knows which; or it is another picture of that name"
    return f"{part.bytes_missing:,} bytes are missing"


def _missing(shoot: ShootBack, width: int, *, in_full: bool) -> str:
    groups: dict[str, list[Missing]] = {}
    for file in shoot.missing:
        if file.outcome != "not_tried":
            groups.setdefault(_where(file), []).append(file)
    untried = [file for file in shoot.missing if file.outcome == "not_tried"]
    parts = [f"{safe(shoot.shoot)}: {count_files(len(shoot.missing))} still missing"]
    for where, files in groups.items():
        example = "" if in_full else f"; such as {_name(files[0])}"
        parts.append(paragraph(safe(f"{count_files(len(files))}, {where}{example}"), width, first="- ", rest="  "))
        parts += [f"    {safe(_name(file))}" for file in files] if in_full else []
    parts += [f"- {count_files(len(untried))} that this run did not come to"] if untried else []
    parts += [f"    {safe(file.path)}" for file in untried] if in_full else []
    return "\n".join(parts) if shoot.missing else ""


def _where(file: Missing) -> str:
    """Say where a file last was, without its path: many files of a shoot were in one place."""
    if not file.last_seen:
        return "nothing says where"
    return "last on " + ", and on ".join(f"{_copy(seen)} ({_state(seen)})" for seen in file.last_seen)


def _copy(seen: LastSeen) -> str:
    return seen.medium if seen.copy == seen.medium else f"{seen.medium}, copy {seen.copy}"


def _state(seen: LastSeen) -> str:
    words = {"lost": "lost", "away": "cannot be reached now", "refuses": "gives nothing", "here": "here, and not right"}
    is_each_its_own = seen.state == "here" or "http" in seen.detail
    detail = "" if is_each_its_own or not seen.detail else f": {seen.detail}"
    return words[seen.state] + detail


def _name(file: Missing) -> str:
    """Return a file's promised path, and on the copies where it had another one, that."""
    told = [
        f"{seen.copy}: {seen.path}" + (f", {seen.detail}" if seen.state == "here" and seen.detail else "")
        for seen in file.last_seen
        if seen.path != file.path or seen.state == "here"
    ]
    return file.path + (f" ({'; '.join(told)})" if told else "")


def _steps(shoots: Sequence[ShootBack]) -> list[str]:
    """Say each thing that might help once, with how many files it is about, the most first."""
    counted: dict[Way, list[str]] = {}
    for shoot in shoots:
        for file in shoot.missing:
            for way in file.ways:
                counted.setdefault(way, []).append(f"{shoot.shoot}: {file.path}")
    order = sorted(counted, key=lambda way: (way.how == "look", -len(counted[way]), way.how, way.who))
    return [f"{_step(way)} ({count_files(len(counted[way]))}, such as {counted[way][0]})." for way in order]


def _step(way: Way) -> str:
    return {
        "plug_in": f"Plug in {way.who}, and run the same command again",
        "again": f"{way.who}: its server gave no answer; try again later",
        "lab": f"{way.who}: if you still have it, or it turns up, write nothing to it and do not repair it; a "
        "laboratory for data recovery may read it",
        "support": f"{way.who}: ask the support of that account for a new link, or for the login back",
        "client": f"Ask {way.who}, who may have been sent the finished pictures",
        "other_program": f"{way.who}: it is there in a form that cannot be read here; unpack it with the program that "
        "made it, and name that folder as a copy",
        "look": "Look on old cards, in sent messages, with whoever was sent them",
    }[way.how]


def _some(said: Sequence[str]) -> list[str]:
    return [*said[:MOST_NAMED], *([f"and {len(said) - MOST_NAMED:,} more"] if len(said) > MOST_NAMED else [])]
