"""A fault tree as people write it → the same tree in numbers, checked.

Flows in: the top's name, and gates by name: a pair of kind and inputs. Flows out: gates in order, each after its
inputs, as "at least so many of these". Must not know: diagrams, probabilities, what an event is.
"""

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

from drill.errors import BadTree

Gates = Mapping[str, tuple[str | int, Sequence[str]]]
"""A gate's name to its kind ("and", "or", or k for at least k) and its inputs. A name that is no gate is an event."""

_PATH_SHOWN = 6


@dataclass(frozen=True, slots=True)
class Gate:
    """At least `least` of the inputs: 0 and up are events, -1 and down are gates (`~number`)."""

    least: int
    inputs: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Tree:
    """What lies below a top: its events in the order they are met, and its gates, each after those it needs."""

    events: tuple[str, ...]
    gates: tuple[Gate, ...]
    top: int


def checked(top: str, gates: Gates) -> Tree:
    """Return the tree below a top, in numbers.

    A name that is no gate, the top's included, is an event. An input that is named twice in an "and" or an "or" counts
    once. Raises BadTree, which names the gate, also for gates that the top does not need: another kind, k out of
    range, no inputs, a pair of another shape, a cycle, an input twice in an "at least k" (once and twice would differ).
    """
    if not isinstance(top, str):
        raise BadTree(f"the top is a name, not {top!r}")
    plain = {name: _plain(name, gate) for name, gate in gates.items()}
    _walk(list(plain), plain)
    return _numbered(top, plain, _walk([top], plain))


def _plain(name: str, gate: object) -> tuple[int, tuple[str, ...]]:
    if not isinstance(name, str):
        raise BadTree(f"gate {name!r}: a gate's name is text")
    if not isinstance(gate, tuple | list) or len(gate) != 2:
        raise BadTree(f"gate {name!r}: is a pair of kind and inputs, not {gate!r}")
    kind, given = gate
    if isinstance(given, str) or not isinstance(given, Sequence | AbstractSet):
        raise BadTree(f"gate {name!r}: its inputs are a list of names, not {given!r}")
    for one in given:
        if not isinstance(one, str):
            raise BadTree(f"gate {name!r}: an input is a name, not {one!r}")
    if not given:
        raise BadTree(f"gate {name!r}: has no inputs")
    inputs = tuple(dict.fromkeys(sorted(given) if isinstance(given, AbstractSet) else given))
    return _least(name, kind, inputs, len(given)), inputs


def _least(name: str, kind: object, inputs: Sequence[str], named: int) -> int:
    if kind == "or":
        return 1
    if kind == "and":
        return len(inputs)
    if isinstance(kind, bool) or not isinstance(kind, int):
        raise BadTree(f'gate {name!r}: its kind is "and", "or" or a whole number, not {kind!r}')
    if len(inputs) < named:
        raise BadTree(f"gate {name!r}: at least {kind} of inputs, one of which is named twice; name each once")
    if not 1 <= kind <= named:
        raise BadTree(f"gate {name!r}: at least {kind} of {named} inputs; from 1 to {named} is possible")
    return kind


def _walk(starts: Sequence[str], gates: Mapping[str, tuple[int, tuple[str, ...]]]) -> list[str]:
    """Return all names below the starts, each after its inputs; without recursion, as trees may be deep."""
    done: dict[str, None] = {}
    path: dict[str, None] = {}
    todo = list(reversed(starts))
    while todo:
        name = todo[-1]
        if name in done or (name in path and not _left(name, gates, done)):
            path.pop(name, None)
            done[name] = None
            todo.pop()
            continue
        if name in path:
            raise BadTree(_cycle(name, list(path)))
        path[name] = None
        todo.extend(reversed(_left(name, gates, done)))
    return list(done)


def _left(name: str, gates: Mapping[str, tuple[int, tuple[str, ...]]], done: Mapping[str, None]) -> list[str]:
    return [one for one in gates[name][1] if one not in done] if name in gates else []


def _cycle(name: str, path: list[str]) -> str:
    around = path[path.index(name) :]
    shown = [repr(one) for one in around[:_PATH_SHOWN]] + (["…"] if len(around) > _PATH_SHOWN else [])
    return f"gate {name!r}: needs itself, by way of {' → '.join([*shown, repr(name)])}"


def _numbered(top: str, gates: Mapping[str, tuple[int, tuple[str, ...]]], names: Sequence[str]) -> Tree:
    numbers: dict[str, int] = {}
    events: list[str] = []
    made: list[Gate] = []
    for name in names:
        if name in gates:
            least, inputs = gates[name]
            made.append(Gate(least, tuple(numbers[one] for one in inputs)))
            numbers[name] = ~(len(made) - 1)
        else:
            numbers[name] = len(events)
            events.append(name)
    return Tree(tuple(events), tuple(made), numbers[top])
