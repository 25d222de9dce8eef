"""A visit to a piano: what one person looked at on one day, region by region of the plate.

Look            one region of tapscan.places.REGIONS: answer, signs (MAY_BE_CRACK of them may be one), note, photos
Visit           plate, day, piano, who, and the looks
full_round(looks)   every region once; one without an answer was not looked at

One visit a plate and day. Nothing reads the free words: what a finding means follows from its signs.
"""

import datetime as dt
from typing import Literal

from msgspec import Struct

from tapscan.errors import BadRequest
from tapscan.places import REGIONS, SIGNS, State
from tapscan.register.entries import EYE_SUSPECTS, KeptFile, Outcome, TakenBack

LookAnswer = Literal["nothing", "note", "hidden"]
LOOK_ANSWERS: tuple[LookAnswer, ...] = ("nothing", "note", "hidden")
MAY_BE_CRACK = (*EYE_SUSPECTS, "repair")  # a repair marks an old crack
NOT_SAID = "of what kind is not said, so it is taken for what may be a crack"


class Look(Struct, frozen=True):
    """One region. `signs` is empty where a note alone was made."""

    region: str  # a key of REGIONS
    answer: LookAnswer | None = None  # None: not looked at
    signs: tuple[str, ...] = ()  # keys of SIGNS, only with the answer "note"
    note: str | None = None
    photos: tuple[KeptFile, ...] = ()
    outcomes: tuple[Outcome, ...] = ()  # of later examinations of what was noted here, oldest first

    @property
    def open(self) -> bool:
        """What may be a crack, and no examination has named what it is. One that found a flaw is never explained away."""
        named = any(o.explains_all or o.names(self.told) for o in self.outcomes)  # what was added since is not
        return self.suspect and (bool(self.flaws) or not named)

    @property
    def flaws(self) -> tuple[Outcome, ...]:
        """Outcomes that count as a flaw."""
        return tuple(o for o in self.outcomes if o.flaw)

    @property
    def weighed(self) -> tuple[Outcome, ...]:
        """The outcomes, flaws first, of each the newest first."""
        newest = sorted(self.outcomes[::-1], key=lambda o: o.on, reverse=True)
        return tuple(sorted(newest, key=lambda o: not o.flaw))

    @property
    def suspect(self) -> bool:
        """Whether it may be a crack; a note whose kind nobody said is taken for one."""
        return self.answer == "note" and (not self.signs or any(s in MAY_BE_CRACK for s in self.signs))

    @property
    def told(self) -> str:
        """Signs and note in words."""
        signs = "; ".join(SIGNS[s] for s in self.signs if s != "other" or not self.note)
        if self.answer == "note" and not self.signs:
            signs = NOT_SAID if self.note else f"something; {NOT_SAID}"
        return " (".join(filter(None, [signs, self.note])) + (")" if signs and self.note else "")


class Visit(Struct, frozen=True):
    """One day at one piano. Unknown is None; all text is as the user wrote it."""

    plate: str
    date: dt.date
    maker: str | None = None
    piano_number: str | None = None
    place: str | None = None
    by_whom: str | None = None
    present: str | None = None  # who else was there
    state: State | None = None
    notes: str | None = None
    looks: tuple[Look, ...] = ()  # those with an answer or a photo
    taken_back: tuple[TakenBack, ...] = ()  # noted by mistake, oldest first
    stored_utc: str | None = None  # None before it is stored
    id: int | None = None

    @property
    def name(self) -> str:
        """PLATE/DATE."""
        return f"{self.plate}/{self.date.isoformat()}"

    @property
    def round(self) -> tuple[Look, ...]:
        """Every region once."""
        return full_round(self.looks)

    @property
    def suspects(self) -> tuple[Look, ...]:
        """What may be a crack and is open."""
        return tuple(look for look in self.round if look.open)

    @property
    def explained(self) -> tuple[Look, ...]:
        """What might have been a crack, and was named by an examination since."""
        return tuple(look for look in self.round if look.suspect and not look.open)


def full_round(looks: tuple[Look, ...]) -> tuple[Look, ...]:
    """In the order of REGIONS."""
    known = {look.region: look for look in looks}
    return tuple(known.get(region, Look(region)) for region in REGIONS)


def sound_look(look: Look) -> Look:
    """As it may be stored. Raises BadRequest with one line."""
    if look.region not in REGIONS:
        raise BadRequest(f"{look.region!r} is no region of the round; they are {', '.join(REGIONS)}")
    if strange := [s for s in look.signs if s not in SIGNS]:
        raise BadRequest(f"{strange[0]!r} is no sign that is known; they are {', '.join(SIGNS)}")
    if look.answer not in (None, *LOOK_ANSWERS):
        raise BadRequest(f"{look.answer!r} is no answer; one of {', '.join(LOOK_ANSWERS)}")
    if look.signs and look.answer != "note":
        raise BadRequest(f"{REGIONS[look.region]}: a sign is ticked, so the answer has to be 'see note'")
    return look
