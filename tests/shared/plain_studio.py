"""A plain studio, written out: for tests that lay its files themselves, on mounted drives too.

Flows in: media with their kinds, which of their copies have a list, the bytes of files. Flows out: texts. The promise
of the one shoot, `reed`, is `reed.sha256` beside the studio file; each copy lies in a folder named after its medium.
"""

from collections.abc import Container, Mapping
from hashlib import sha256

LIST = "reed.sha256"


def studio_text(kinds: Mapping[str, str], *, at: Mapping[str, str] | None = None, listed: Container[str] = ()) -> str:
    """Write the studio file: media by id with their kinds, each at its own place; those `listed` are said to hold what
    is promised."""
    text = f'[studio]\nname = "Reed"\n[[shoots]]\nid = "reed"\ndate = 2026-09-12\nmanifest = "{LIST}"\n'
    for id_, kind in kinds.items():
        text += f'[[media]]\nid = "{id_}"\nkind = "{kind}"\nplace = "at-{id_}"\n'
    for id_ in kinds:
        text += f'[[copies]]\non = "{id_}"\nat = "{(at or {}).get(id_, id_)}"\n'
        text += f'manifest = "{LIST}"\n' if id_ in listed else ""
    return text


def sha256_list(files: Mapping[str, bytes]) -> str:
    """Write a list as sha256sum does."""
    return "".join(f"{sha256(content).hexdigest()}  {name}\n" for name, content in files.items())
