"""The conductor of the audit: are the bytes on each copy still what its list, or the promise, says?

`run` is the whole audit; `scope` what each copy is asked for; `choose` what is read of it; `around` the ranges that
cannot be read; `judge` the outcomes; `intact` where the right bytes are. They print nothing.
"""

from drill.audit.choose import Limits
from drill.audit.run import Options, audit

__all__ = ["Limits", "Options", "audit"]
