"""A visit's document as full as it may get, made by hand: every list at its longest, every text a user's long one."""

from pathlib import Path

from msgspec.structs import replace

from tapscan.places import STATES, State
from tapscan.report.photos import Picture, picture
from tapscan.report.sections.map import map_section
from tapscan.report.shop import Shop
from tapscan.report.visit_page import LINE, ROOM, Found, LookRow, TapPart, Unknown, VisitSheet
from tapscan.screening.open_findings import EXAMINATION
from tapscan.screening.rules import RULES
from tapscan.screening.visit_advice import VisitKnown, advise, cautions
from tests.report.test_plate_map import on_grand

LONG = (
    "a fine line with rust in it that begins at the corner beside the treble break and goes on for some 40 mm across the edge towards the second screw, where the finish has come off; "
    * 2
)
NAMES = ("Piano", "Plate", "Where", "Looked at by", "Workshop", "For")
TAPPED = "24 usable taps of 24, at 8 places (S1, S2, S3, S4, S5, S6, S7 and S8), pickup on the iron; 143 tones heard"
WORDS = "Messrs. Hollis, Wren and Daughters of the Old Foundry by the Canal"


def fullest(
    state: State | None = "strung", words: str = WORDS, note: str = LONG, photos: tuple[Picture, ...] = ()
) -> VisitSheet:
    known = VisitKnown(
        state,
        eye=True,
        rules=tuple(r.name for r in RULES),
        earlier=True,
        unseen=9,
        signs=frozenset({"repair", "missing-screws", "buzz"}),
    )
    told, drawn = advise(known), map_section(on_grand())
    rows = tuple(LookRow(f"region {k} of the plate", "seen, see note", note, True, photos) for k in range(13))
    return VisitSheet(
        name="B12/2026-11-27",
        head=(*((name, words) for name in NAMES), ("Date", "2026-11-27")),
        facts=(("Maker", words), ("Notes", note)),
        cautions=cautions(state),
        headline=told.headline,
        lead=told.lead,
        known="12 of 12 regions seen, 24 taps at 8 places heard, keys played by hand.",
        found=tuple(Found(f"Region {k} of the plate", note, True) for k in range(9)),
        looked=tuple(
            (answer, "; ".join([words] * 7))
            for answer in ("Seen, nothing noticed", "Seen, see note", "Could not be seen", "Not looked at")
        ),
        tested=(("Tapped", TAPPED), ("Keys", note)),
        unknown=tuple(Unknown(f"code-{k}", note, note) for k in range(14)),
        steps=told.steps,
        questions=tuple(q.text for q in told.questions),
        rows=rows,
        scans=(
            TapPart(
                "The taps", "B12/2026-11-27", "Nothing found.", (("State", STATES[0]),), drawn.small, drawn.legend, ()
            ),
        ),
        shop=Shop(words, words),
        stop=True,
    )


def brimming() -> VisitSheet:
    """With as many findings and unknowns as the page takes uncut, and everything else at its longest."""
    line = "what is not known here, in a line that is as long as such lines usually are; and then some more of it"
    count = ROOM // (len(line) + LINE)
    return replace(fullest(), found=(), unknown=tuple(Unknown(f"code-{k}", line) for k in range(count)))


def flawed(flaws: int, note: str = WORDS) -> VisitSheet:
    """With so many flaws that examinations found: all of them in one finding, and those of each region in one of its own."""
    told = [f"crack {k} in strut {k}, {note} (magnetic particles, by D. Petrov, 2026-11-28)" for k in range(flaws)]
    first = f"{EXAMINATION} {'; '.join(told)}."
    each = [told[k::9] for k in range(9)]
    texts = [f"{EXAMINATION} {'; '.join(some)}. " for some in each if some]
    regions = tuple(Found(f"Flawed region {k}", f"{t}{LONG}", True, len(t)) for k, t in enumerate(texts))
    sheet = fullest()
    return replace(sheet, found=(Found("Found by an examination", first, True, len(first)), *regions, *sheet.found))


def photo(folder: Path, name: str = "p.jpg", **exif: object) -> Picture:
    """Of a drawn line, through the code that a page uses."""
    return picture(photo_file(folder, name), name)


def photo_file(folder: Path, name: str = "p.jpg", colour: str = "gray") -> Path:
    """Lying on its side as a phone stores it, with the place it was taken at."""
    from PIL import Image

    exif = Image.Exif()
    exif[0x0112] = 6  # orientation: turn by a quarter
    exif[0x010F] = "A phone of PERRY"
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)  # GPS latitude
    Image.new("RGB", (1600, 900), colour).save(folder / name, exif=exif)
    return folder / name
