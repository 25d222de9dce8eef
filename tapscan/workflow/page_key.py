"""The key that opens the page: made once, kept where only this user can read it.

page_key()   text; the same after a restart, so that open windows go on working
"""

import os
import secrets
from contextlib import suppress

from tapscan.errors import RegisterProblem
from tapscan.workflow.where import own_settings_folder

FILE = "page-key"
LENGTH = 43  # of 32 random bytes in letters


def page_key() -> str:
    """Raises RegisterProblem where it can neither be read nor kept."""
    path = own_settings_folder() / FILE
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with (
            suppress(FileExistsError),
            os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file,
        ):
            file.write(secrets.token_urlsafe(32))
        key = path.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError) as problem:
        raise RegisterProblem(f"{path}: the key of the page cannot be kept ({problem}); mend that folder") from None
    if len(key) != LENGTH:
        raise RegisterProblem(f"{path}: is damaged; delete it and open the page again")
    return key
