"""Where the register and the shop's defaults lie when nobody says: by the variable, else in the user's own folders.

usual_place()             the register's: TAPSCAN_REGISTER, else the user's data folder
place_of(told)            a folder or a server, as it was typed
folder_of(place)          the register's folder; of one on a server this bench's own, which lies in the user's data folder
models_folder()           of rough models made from outlines, which can be made again
own_settings_folder()     the user's settings folder, for defaults that are kept before there is a register
"""

import hashlib
import os
from pathlib import Path

from tapscan.register.address import Place, Server, server_url

VARIABLE = "TAPSCAN_REGISTER"


def usual_place() -> Place:
    """A folder of the user's own, by the rules of the system, unless the variable says another place."""
    named = os.environ.get(VARIABLE)
    return place_of(named) if named else _own_data() / "register"


def place_of(told: str) -> Place:
    """Raises BadRequest for an address that cannot be read."""
    if not server_url(told):
        return Path(told)
    machine_and_database = Server(told, Path()).shown.rpartition("@")[2].removeprefix("postgresql://")
    name = "".join(c if c.isalnum() or c in ".-" else "_" for c in machine_and_database)
    return Server(
        told, _own_data() / "servers" / f"{name[:60]}-{hashlib.sha256(machine_and_database.encode()).hexdigest()[:8]}"
    )


def folder_of(place: Place) -> Path:
    """Of one on a server: for what is this bench's own."""
    return place.folder if isinstance(place, Server) else place


def _own_data() -> Path:
    from platformdirs import user_data_path

    return user_data_path("tapscan", appauthor=False)


def own_settings_folder() -> Path:
    """By the rules of the system."""
    from platformdirs import user_config_path

    return user_config_path("tapscan", appauthor=False)


def models_folder() -> Path:
    """By the rules of the system, among what may be thrown away."""
    from platformdirs import user_cache_path

    return user_cache_path("tapscan", appauthor=False) / "models"
