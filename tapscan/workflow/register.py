"""What the command `register` and the others ask of the register as a whole."""

from tapscan.register.accounts import accounts_sql
from tapscan.register.address import Place
from tapscan.register.database import Register, is_register, make_register, open_register
from tapscan.register.moving import Moved, move_register
from tapscan.register.names import name_for_new
from tapscan.register.outbox import send_waiting
from tapscan.register.setting import checked_url, files_wanted
from tapscan.register.upkeep import back_up, check_register, restore

__all__ = [
    "Moved",
    "Place",
    "Register",
    "accounts_sql",
    "back_up",
    "check_register",
    "checked_url",
    "files_wanted",
    "is_register",
    "make_register",
    "move_register",
    "name_for_new",
    "open_register",
    "restore",
    "send_waiting",
]
