"""The register that the page serves.

register_of(request)   raises RegisterProblem where there is none (yet)
"""

from starlette.applications import Starlette
from starlette.requests import Request

from tapscan.errors import RegisterProblem
from tapscan.workflow.last_register import missing, remember
from tapscan.workflow.register import Register, is_register, open_register, send_waiting


def register_of(request: Request) -> Register:
    """Of the app that was asked."""
    return register_in(request.app)


def register_in(app: Starlette) -> Register:
    """Opened once; what other windows and terminals write is seen all the same."""
    state = app.state
    if not is_register(state.place):
        state.register = None
        raise RegisterProblem(missing(state.place))
    if getattr(state, "register", None) is None:
        state.register = open_register(state.place)
        remember(state.place)
        state.waits = send_waiting(state.register)
    found: Register = state.register
    return found


def has_register(request: Request) -> bool:
    """Whether there is one."""
    return is_register(request.app.state.place)
