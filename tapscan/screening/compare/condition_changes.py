"""How two scans of one plate were made differently, and what can then not be concluded.

    changed_conditions(later, baseline, shared)   ConditionChanges: sentences, what is refused, how much more scatter to expect
    sensor_changed(a, b, settings)        why frequencies heard by two sensors cannot be held against each other; None where they can

The kind, mass and place of the sensor decide, never its note. Capitals and blanks do not matter in what the shop wrote.
What is refused is refused whatever the figures say; what is only worse gets a wider scatter and a sentence.
"""

from collections.abc import Sequence

from msgspec import Struct

from tapscan.records import IN_PIANO, ScanConditions
from tapscan.sensors import Sensor
from tapscan.settings import Settings

SURFACES = ("old-finish", "stripped", "primed", "finished")
FEW_PLACES = 3
PLATE_KG = 104.0  # of the example in a sentence: the simulated small grand
UNKNOWN_SENSOR = (
    "Whether the sensor was a contact pickup or a microphone is not known for every scan, so it is taken for a microphone, which tells less. "
    "Note with each scan which it was."
)
FINISH = (
    "The surface is not the same ({a}, now {b}). A coat of finish adds weight all over: it lowers all modes by about 0.2 % and "
    "each a little differently, so a small crack cannot be told from it, and the damping of the two scans is not compared. "
    "Make a fresh baseline in the new state as soon as the finish is hard."
)


class ConditionChanges(Struct, frozen=True):
    """What is different, what is refused (None: nothing), and what is allowed for."""

    sentences: tuple[str, ...] = ()
    refused: str | None = None  # why nothing is concluded
    frequency_refused: str | None = None  # why the frequencies are not judged
    loss_refused: str | None = None  # why the damping is not compared
    extra_ppm: float = 0.0  # scatter to add to each mode's frequency
    support_factor: float = 1.0  # on the supports' part of the scatter
    lowest_hz: float = 0.0  # modes below are not judged


def sensor_changed(a: Sensor, b: Sensor, settings: Settings) -> str | None:
    """The sentence that says why the frequencies are not judged; what is not known on one side is no change."""
    limits = settings.repeatability
    if a.kind and b.kind and a.kind != b.kind:
        return (
            f"Another kind of sensor was used ({a.kind}, now {b.kind}), so neither frequencies nor damping are judged: a pickup weighs on the "
            "iron, and a microphone hears the room."
        )
    if a.mass_g is not None and b.mass_g is not None and abs(a.mass_g - b.mass_g) > limits.sensor_mass_apart_g:
        return f"The sensor weighed {a.mass_g:g} g, now {b.mass_g:g} g, so the frequencies are not judged. {_weight(limits.sensor_mass_g)}"
    if a.place and b.place and _key(a.place) != _key(b.place):
        why = (
            _weight(limits.sensor_mass_g)
            if a.contact or b.contact
            else "In a room, a microphone in another place hears other tones."
        )
        return f"The sensor was elsewhere ({a.place}, now {b.place}), so the frequencies are not judged. {why} Put it back where it was."
    return None


def _weight(light_g: float) -> str:
    """Rayleigh's principle: a point mass m on a plate of mass M lowers a mode by m / 2M times phi^2 over its mean."""
    ppm = 1e6 * light_g / (2 * 1000 * PLATE_KG)
    return (
        f"A sensor's weight lowers the modes that move where it sits: {light_g:g} g on {PLATE_KG:g} kg by {ppm:.0f} millionths in the middle, and "
        f"several times as much at an edge (Rayleigh), which is what small cracks do. What repeats is {light_g:g} g or less on the same spot "
        "within 10 mm."
    )


def _key(words: str) -> str:
    """What makes two wordings the same."""
    return " ".join(words.split()).casefold()


def changed_conditions(
    later: ScanConditions, baseline: Sequence[ScanConditions], shared_places: int, settings: Settings
) -> ConditionChanges:
    """Compare the later scan's conditions with those of every baseline scan; the worst of each counts."""
    told = _Told(settings)
    for earlier in baseline:
        told.states(earlier.state, later.state)
        told.fittings(earlier.fittings, later.fittings)
        told.sensors(earlier, later)
        told.supports(earlier.supports, later.supports)
    told.rest(later, baseline, shared_places)
    return told.result()


class _Told:
    """Collects sentences, each once."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.said: dict[str, None] = {}
        self.refused: str | None = None
        self.frequency_refused: str | None = None
        self.loss_refused: str | None = None
        self.extra_ppm, self.support_factor, self.lowest_hz = 0.0, 1.0, 0.0

    def say(self, sentence: str) -> None:
        self.said[sentence] = None

    def refuse(self, why: str) -> None:
        self.say(why)
        self.refused = self.refused or why

    def refuse_loss(self, why: str) -> None:
        self.loss_refused = self.loss_refused or why

    def states(self, a: str | None, b: str | None) -> None:
        """Old and new state."""
        if a == b and a is not None:
            return
        if a is None or b is None:
            self.say("The state of the plate is not known for both scans: give it, finish and parts move modes too.")
        elif a in IN_PIANO or b in IN_PIANO:
            self.refuse(
                f"One scan was made {a}, the other {b}. Wood, strings and bolts hold the plate in the piano, so its modes are "
                "not those of the bare plate. Compare scans made in the same state."
            )
        elif a in SURFACES and b in SURFACES:
            self.say(FINISH.format(a=a, b=b))
            self.extra_ppm = self.settings.repeatability.finish_ppm
            self.refuse_loss("the surface is not the same, and a coat of finish damps")
        else:
            self.refuse(
                f"One scan was made {a}, the other {b}. The parts fitted in between weigh on the plate and move its modes. "
                "Compare scans made in the same state."
            )

    def fittings(self, a: tuple[str, ...] | None, b: tuple[str, ...] | None) -> None:
        """What was left on the plate."""
        if a is None or b is None:
            return
        was, now = {_key(f): f for f in a}, {_key(f): f for f in b}
        changed = [{**was, **now}[key] for key in sorted(set(was) ^ set(now))]
        if changed:
            self.refuse(
                f"Not the same parts were on the plate: {', '.join(changed)}. Each adds weight and lowers modes as a crack "
                "does. Only scans with the same parts on the plate can be compared."
            )

    def sensors(self, a: ScanConditions, b: ScanConditions) -> None:
        """Pickup or microphone, its mass and its place."""
        if a.sensor.kind is None or b.sensor.kind is None:
            self.say(UNKNOWN_SENSOR)
        if changed := sensor_changed(a.sensor, b.sensor, self.settings):
            self.say(changed)
            self.frequency_refused = self.frequency_refused or changed
            if not (a.sensor.contact and b.sensor.contact):
                self.refuse_loss("another kind of sensor was used, or a microphone stood elsewhere in the room")
        elif (b.sensor.mass_g or 0.0) > self.settings.repeatability.sensor_mass_g:
            self.say(f"The sensor weighs {b.sensor.mass_g:g} g. {_weight(self.settings.repeatability.sensor_mass_g)}")

    def supports(self, a: str | None, b: str | None) -> None:
        """What it lay on or hung from."""
        if a is None or b is None or _key(a) == _key(b):
            return
        low = self.settings.repeatability.supports_lowest_hz
        self.say(
            f"The plate was held differently ({a}, now {b}). Modes under {low:.0f} Hz move with the supports and are not judged; "
            "nor is the damping. Lay it as it lay the first time."
        )
        self.support_factor, self.lowest_hz = self.settings.repeatability.supports_factor, low
        self.refuse_loss("the plate was held differently")

    def rest(self, later: ScanConditions, baseline: Sequence[ScanConditions], shared_places: int) -> None:
        """Time in the room and places tapped."""
        fresh = [c for c in (later, *baseline) if (c.hours_in_room or 1e9) < self.settings.thermal.hours_in_room]
        if fresh:
            self.say(
                f"The plate had stood less than {self.settings.thermal.hours_in_room:.0f} hours in the room in {len(fresh)} of the scans: "
                "iron that is warmer in one part moves some modes and not others. Let it stand overnight."
            )
        self.gradients((later, *baseline))
        if shared_places < FEW_PLACES:
            self.say(
                f"Only {shared_places} places were tapped in all the scans, so modes were matched by frequency alone. "
                "Tap the same places each time."
            )

    def gradients(self, scans: Sequence[ScanConditions]) -> None:
        """Two ends of the iron of unlike warmth: no shift that all share."""
        ends = [(c.iron_c, c.iron_end_c) for c in scans]
        apart = [abs(a - b) for a, b in ends if a is not None and b is not None]
        if apart and max(apart) >= self.settings.gradient.end_to_end_k:
            why = (
                f"The iron was {max(apart):.1f} degrees warmer at one end than at the other, so the frequencies are not judged: tones of the warm end fall and others "
                "do not, as a crack does. Let the plate stand until both ends read the same."
            )
            self.say(why)
            self.frequency_refused = self.frequency_refused or why

    def result(self) -> ConditionChanges:
        """All that was told. Where neither frequencies nor damping are compared, nothing is concluded."""
        refused = self.refused or (self.frequency_refused if self.loss_refused else None)
        return ConditionChanges(
            tuple(self.said),
            refused,
            self.frequency_refused,
            self.loss_refused,
            self.extra_ppm,
            self.support_factor,
            self.lowest_hz,
        )
