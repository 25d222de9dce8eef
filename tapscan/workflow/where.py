"""Where the register and the shop's defaults lie when nobody says: by the variable, else in the user's own folders.

usual_folder()            the register's: TAPSCAN_REGISTER, else the user's data folder
models_folder()           of rough models made from outlines, which can be made again
own_settings_folder()     the user's settings folder, for defaults that are kept before there is a register
"""

import os
from pathlib import Path

VARIABLE = "TAPSCAN_REGISTER"


def usual_folder() -> Path:
    """A folder of the user's own, by the rules of the system."""
    from platformdirs import user_data_path

    named = os.environ.get(VARIABLE)
    return Path(named) if named else user_data_path("tapscan", appauthor=False) / "register"


def own_settings_folder() -> Path:
    """By the rules of the system."""
    from platformdirs import user_config_path

    return user_config_path("tapscan", appauthor=False)


def models_folder() -> Path:
    """By the rules of the system, among what may be thrown away."""
    from platformdirs import user_cache_path

    return user_cache_path("tapscan", appauthor=False) / "models"
