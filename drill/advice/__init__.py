"""Advice: single changes to a scheme, each tried through the engine that reckons its odds; two schemes side by side.

`edits` changes a studio as a value, `changes` says which changes are worth a try, `price` what each costs, `trial`
tries and ranks them; `compare` holds two forecasts against each other. Nothing is written, and nothing is printed.
"""

from drill.advice.compare import compare
from drill.advice.trial import advise

__all__ = ["advise", "compare"]
