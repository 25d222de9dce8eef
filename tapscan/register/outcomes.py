"""What an examination found, as far as it may be kept.

sound_outcome(outcome, seen_on)   BadRequest where it may not
"""

import datetime as dt

from tapscan.errors import BadRequest
from tapscan.register.entries import Outcome
from tapscan.unseen import as_text


def sound_outcome(outcome: Outcome, seen_on: dt.date) -> None:
    """Raises BadRequest when nobody is named, nothing said, or it is dated before what was examined (Outcome.not_before)."""
    for words, what in (
        (outcome.by_whom, "who examined it"),
        (outcome.found, "what was found"),
        (outcome.method, "how"),
    ):
        if not as_text(words).strip():
            raise BadRequest(f"an outcome needs {what}; an outcome without it is hearsay")
    if not outcome.not_before(seen_on):
        raise BadRequest(f"an examination of {outcome.on} cannot explain what was seen later, on {seen_on}")
