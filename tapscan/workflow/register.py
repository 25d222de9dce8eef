"""What the command `register` and the others ask of the register as a whole."""

from tapscan.register.database import Register, is_register, make_register, open_register
from tapscan.register.export import export_csv, export_json
from tapscan.register.names import name_for_new
from tapscan.register.upkeep import back_up, check_register, restore

__all__ = [
    "Register",
    "back_up",
    "check_register",
    "export_csv",
    "export_json",
    "is_register",
    "make_register",
    "name_for_new",
    "open_register",
    "restore",
]
