"""Thresholds that count where a room may be in the sound and cannot be told from the plate."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, stage, threshold


@stage("untold_room", counted_in=())
class UntoldRoom(Struct, frozen=True):
    """What a tone must do to be taken for the plate's and not for the room's doing; one of the two is enough."""

    over_db: float = threshold(
        6.6,
        "dB",
        "stand so far over a limit of prominence: at one spot in a room one tone in a hundred is lifted by as much",
        "Schroeder, Acustica 4 (1954) 594: there a tone's power is distributed exponentially (from memory)",
    )
    lasting_s: float = threshold(
        3.0, "s", "last longer than a room rings, and lose less than any flake iron does", JUDGEMENT
    )
