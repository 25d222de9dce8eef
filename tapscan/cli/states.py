"""The state of a plate as typed on the command line.

read_state(text)   State, None when nothing was typed; raises BadRequest and lists the states
"""

from tapscan.errors import WrongUsage
from tapscan.places import STATES, State


def read_state(text: str | None) -> State | None:
    """Blanks stand for hyphens, capitals do not matter."""
    if text is None:
        return None
    for state in STATES:
        if state == text.strip().lower().replace(" ", "-"):
            return state
    raise WrongUsage(f"--state: {text!r} is unknown; one of {', '.join(STATES)}")
