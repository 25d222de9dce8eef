"""Keys played one by one on a strung piano, and what was heard with them."""

from msgspec import Struct

from tapscan.estimate import Estimate


class RingingTone(Struct, frozen=True):
    """A tone that goes on after the damper, at one note."""

    frequency_hz: float
    frequency_sd_hz: float
    decay_rate_per_s: float  # amplitude ~ exp(-decay_rate * t)
    decay_rate_sd_per_s: float
    snr_db: float  # energy over that of the noise it must beat
    own_string: bool  # lies at a partial of the key that was played

    @property
    def decay_rate(self) -> Estimate:
        """1/s."""
        return Estimate(self.decay_rate_per_s, self.decay_rate_sd_per_s)


class PlayedNote(Struct, frozen=True):
    """One key, as found in a recording."""

    id: str
    recording: str  # Recording.id
    onset_s: float
    key: str | None  # such as C#4, as heard; None: see reason
    clear: float | None  # how much better this key fits than the next best, in dB of what stands out at its partials
    cents: float | None  # its pitch off A4 = 440 Hz, octaves stretched as usual
    level_db: float  # rms of the first 0.3 s, re full scale
    held_s: float | None  # from the onset to the damper; None: no damper was heard
    buzz_over_noise_db: float | None  # what lies between the partials over the noise before the note
    buzz_share_db: float | None  # the same over the whole note
    tones: tuple[RingingTone, ...] = ()
    listened_s: float | None = None  # how long it was listened to after the damper; None: see tones_reason
    reason: str | None = None  # why key is None
    buzz_reason: str | None = None
    tones_reason: str | None = None


class ForeignTone(Struct, frozen=True):
    """The same tone after several notes, of no string that should be damped."""

    id: str
    frequency_hz: float
    frequency_sd_hz: float
    decay_rate_per_s: float
    decay_rate_sd_per_s: float
    loss_factor: float
    loss_factor_sd: float
    notes: tuple[str, ...]  # PlayedNote.id
    near: tuple[str, ...]  # those of them with a partial within two linewidths
    string_of: str | None  # the key whose partials such tones are: its damper may leak; None: of no string

    @property
    def frequency(self) -> Estimate:
        """Hz."""
        return Estimate(self.frequency_hz, self.frequency_sd_hz)

    @property
    def loss(self) -> Estimate:
        """Loss factor."""
        return Estimate(self.loss_factor, self.loss_factor_sd)


class PlayedNotes(Struct, frozen=True):
    """All notes of a scan that is played and not tapped."""

    notes: tuple[PlayedNote, ...]
    wanted: tuple[str, ...]  # keys that were to be played, in order; empty: any
    missing: tuple[str, ...]  # of these, not heard
    doubled: tuple[str, ...]  # heard more than once
    besides: tuple[str, ...]  # heard, and not wanted
    pitch_cents: float | None  # of the piano as a whole, off A4 = 440 Hz
    foreign: tuple[ForeignTone, ...] = ()
    foreign_reason: str | None = None  # why nothing could be told of what rings on
