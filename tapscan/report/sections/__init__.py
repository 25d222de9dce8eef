"""The sections of the page below its first screen: two files each, a class of words and its template.

A section's file ends with SECTION (report/section.py); its template stands beside it. To add one: write both files, and name it in SECTIONS.

SECTIONS   in the order in which they stand on the page and in its list of contents
"""

from tapscan.report.section import Section
from tapscan.report.sections import (
    about,
    appendix,
    bar,
    cautions,
    comparison,
    glossary,
    indications,
    listen,
    map,
    notes,
    pictures,
    reach,
    sisters,
    tested,
    tones,
    trend,
)

SECTIONS: tuple[Section, ...] = (
    map.SECTION,
    indications.SECTION,
    notes.SECTION,
    tones.SECTION,
    listen.SECTION,
    comparison.SECTION,
    bar.SECTION,
    sisters.SECTION,
    trend.SECTION,
    about.SECTION,
    tested.SECTION,
    reach.SECTION,
    cautions.SECTION,
    glossary.SECTION,
    pictures.SECTION,
    appendix.SECTION,
)
