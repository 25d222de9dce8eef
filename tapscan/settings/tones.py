"""Thresholds of what is heard as a tone."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, stage, threshold


@stage("tones", counted_in=("single",))
class Tones(Struct, frozen=True):
    """How far a mode stands out as a tone."""

    window_start_s: float = threshold(0.1, "s", "after the knock itself has passed", JUDGEMENT)
    window_end_s: float = threshold(0.4, "s", "a pitch is heard within this time", JUDGEMENT)
    snr_db: float = threshold(
        20.0, "dB", "a mode less clear of the noise is not judged for prominence", "design of the rule"
    )
    share_db: float = threshold(
        -10.0, "dB", "a fainter part of what is heard in the window is not the pitch of the tap", JUDGEMENT
    )
    station_share: float = threshold(
        0.5, "1", "share of the stations that hear a mode at which it must stand out", JUDGEMENT
    )
