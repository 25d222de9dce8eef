"""What a comparison of two scans out of the piano cannot tell, in words.

limitations_told(measured, lost, gained, contact, settings)    sentences
"""

from collections.abc import Sequence

from tapscan.records import UnpairedMode
from tapscan.screening.compare.measure import Measured, limit_of
from tapscan.screening.compare.unpaired_modes import one_sided
from tapscan.settings import Settings

SINGLE = (
    "There is only one earlier scan, so how much this plate itself varies from scan to scan is not known and only a larger change counts. "
    "With three baseline scans, the plate lifted and set down again between them, small changes can be seen."
)
ONE_DAY_ONLY = (
    "The baseline scans are all of one day, and supports are softer or elsewhere on another: this plate's normal variation is taken from simulated plates and the limit is higher. "
    "A baseline over two days can tell small changes."
)
MICROPHONE = (
    "By microphone the room blurs the modes: small changes are told less surely, and hardly at all with one baseline scan or from further off than 10 cm; modes that are lost or new "
    "make no indication. A pickup on the iron, or a microphone at 10 cm that stays put, is needed."
)
HEARD_LESS = (
    "Many strong tones were found in the one scan and not in the other, and hardly any the other way round. A change of the plate moves tones and takes none away, so one of the "
    "scans heard less: something rattled or hummed faintly, or the sensor sat badly. Nothing is to be concluded from it alone."
)
BLIND = "A crack that is pressed shut and does not rub cannot be heard: a plate may have one although none of its tones has changed."


def limitations_told(
    measured: Measured,
    lost: Sequence[UnpairedMode],
    gained: Sequence[UnpairedMode],
    contact: bool,
    settings: Settings,
) -> tuple[str, ...]:
    """Sentences; the last holds always."""
    found = []
    if contact and one_sided(lost, gained, settings):
        found.append(HEARD_LESS)
    if measured.seen == 1:
        found.append(SINGLE if measured.baseline.scans == 1 else ONE_DAY_ONLY)
    if not contact:
        found.append(MICROPHONE)
    limit = limit_of("drop", measured.seen, settings)
    rises = int((measured.frequency.score[measured.frequency.judged] < -2 * limit).sum())
    if rises:
        found.append(
            f"{rises} of the modes rose. A crack raises none: something has come off the plate, most of the modes fell, or modes "
            "were matched wrongly."
        )
    found.append(BLIND)
    return tuple(found)
