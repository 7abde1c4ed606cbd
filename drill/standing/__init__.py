"""The conductor of how the shoots of today stand, on paper: which scenario would cost which of them what.

`left` says what a scenario leaves of the copies, `chances` how likely a set of copies is lost as it stands, `run` is
the whole. It reads no copy's bytes, and prints nothing.
"""

from drill.standing.run import standing

__all__ = ["standing"]
