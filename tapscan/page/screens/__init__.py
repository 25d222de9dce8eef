"""One file a screen. Each ends with ROUTES; one that takes files also with SIZES, the most bytes by path.

ROUTES, SIZES   of all screens
"""

from types import ModuleType

from starlette.routing import Route

from tapscan.page.screens import (
    bars,
    compare,
    documents,
    draft,
    draw,
    evidence,
    history,
    keeping,
    layouts,
    patterns,
    phone,
    plate,
    plate_form,
    plates,
    record,
    scan,
    scan_mend,
    scan_notes,
    settings,
    visit,
    work,
)

SCREENS: tuple[ModuleType, ...] = (
    plates,
    plate,
    plate_form,
    draft,
    draw,
    phone,
    record,
    scan,
    scan_notes,
    scan_mend,
    visit,
    compare,
    history,
    documents,
    layouts,
    bars,
    patterns,
    evidence,
    keeping,
    settings,
    work,
)
ROUTES: list[Route] = [route for screen in SCREENS for route in screen.ROUTES]
SIZES: dict[str, int] = {path: most for screen in SCREENS for path, most in getattr(screen, "SIZES", {}).items()}
