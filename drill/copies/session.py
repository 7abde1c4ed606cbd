"""What one run remembers of servers: its connections, how patient to be, who did not answer.

Flows in: a policy. Flows out: a session. Must not know: how a server is asked.
"""

from dataclasses import dataclass, field
from threading import Lock
from typing import TYPE_CHECKING, Self

from drill.copies.address import server_of

if TYPE_CHECKING:  # `asking` loads it, for runs that meet a link
    from urllib3 import PoolManager


@dataclass(frozen=True, slots=True)
class LinkPolicy:
    """How patient to be with a server. Spans in seconds."""

    connect_s: float = 5.0
    read_s: float = 10.0
    tries: int = 3
    backoff_s: float = 0.3
    redirects: int = 5


@dataclass(slots=True)
class LinkSession:
    """One run's memory: its connections, and which servers could not be reached and are not asked again."""

    policy: LinkPolicy = field(default_factory=LinkPolicy)
    pool: "PoolManager | None" = field(default=None, repr=False)
    silent: dict[str, str] = field(default_factory=dict)  # "host:port" → why
    sends_whole: set[str] = field(default_factory=set)  # "host:port" of servers that ignore ranges
    lock: Lock = field(default_factory=Lock, repr=False)  # for making the pool

    def is_silent(self, url: str) -> bool:
        """Say whether the server behind a URL could not be reached and is not asked again."""
        return server_of(url) in self.silent

    def forget(self) -> None:
        """Ask every server again."""
        self.silent.clear()

    def close(self) -> None:
        """Let go of all connections."""
        if self.pool is not None:
            self.pool.clear()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
