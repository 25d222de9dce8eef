"""The bench of the page asks for every page that there is."""

from bench.page import PAGES
from tapscan.page.screens import ROUTES

NO_PAGES = {
    "/document": "a report, made by a work of its own",
    "/sound": "MP3",
    "/plate/photo": "a photo",
    "/record/map": "a drawing within a page",
    "/progress": "the progress of a work, which leads on",
}


def test_every_page_is_timed():
    asked = {address.partition("?")[0] for address in PAGES.values()}
    there = {r.path for r in ROUTES if "GET" in (r.methods or ()) and not r.path.endswith("/events")}
    assert there - set(NO_PAGES) == asked
