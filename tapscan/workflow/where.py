"""Where the register lies when nobody says: the user's data folder."""

from pathlib import Path


def usual_folder() -> Path:
    """A folder of the user's own, by the rules of the system."""
    from platformdirs import user_data_path

    return user_data_path("tapscan", appauthor=False) / "register"
