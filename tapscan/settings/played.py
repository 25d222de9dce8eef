"""Thresholds by which played notes are heard (signal/notes)."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold


@stage("notes", counted_in=("notes",))
class Notes(Struct, frozen=True):
    """When a note is a note, which key it was, and what rings on."""

    rise_db: float = threshold(9.0, "dB", "two bands rise so much within 20 ms where a key is played", SIMULATED)
    over_noise_db: float = threshold(12.0, "dB", "fainter is no note", SIMULATED)
    gap_s: float = threshold(0.3, "s", "between two notes", JUDGEMENT)
    thump_db: float = threshold(
        3.0,
        "dB",
        "a key heard once more within a second and so much fainter is the same note: its key came back",
        SIMULATED,
    )
    key_score: float = threshold(12.0, "dB", "a worse fit of the partials is no key", SIMULATED)
    soon_score: float = threshold(
        40.0, "dB", "within a second of another note a worse fit, fainter, is that note's key coming back", SIMULATED
    )
    key_clear: float = threshold(1.0, "dB", "less ahead of the next best leaves the key open", SIMULATED)
    pitch_cents: float = threshold(18.0, "cent", "how far one note may be from the pitch of the others", SIMULATED)
    damper_db: float = threshold(6.0, "dB", "fall within a fifth of a second that shows the damper", SIMULATED)
    listen_after_s: float = threshold(0.35, "s", "after the damper, damped strings are silent by then", SIMULATED)
    listen_s: float = threshold(0.3, "s", "shorter tells no decay", JUDGEMENT)
    highest_hz: float = threshold(1300.0, "Hz", "above, undamped top strings ring", SIMULATED)
    tone_snr_db: float = threshold(13.0, "dB", "energy of a tone over the noise", SIMULATED)
    own_cents: float = threshold(
        20.0, "cent", "nearer to a partial of the key that was played it may be its string", SIMULATED
    )
    together: float = threshold(
        0.35, "1", "tones of two notes are one when so much of a linewidth apart or less", SIMULATED
    )
