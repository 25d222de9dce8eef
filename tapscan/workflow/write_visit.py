"""The document of one visit, from the register to a file.

write_visit(register, name, path, wish)   HTML or PDF, whole or not at all; the path it was written to
visit_sheet(register, known, wish)        everything on it in words
"""

from pathlib import Path

from msgspec.structs import replace

from tapscan.places import IN_PIANO, KEYS, REGIONS
from tapscan.records import Indication, Screening
from tapscan.register.database import Register
from tapscan.register.entries import Plate, ScanEntry, in_words, noted
from tapscan.register.plates import find_plate
from tapscan.register.visit_entries import Look
from tapscan.register.visits import find_visit
from tapscan.report.about import told
from tapscan.report.extras import Extras
from tapscan.report.page import sections_of
from tapscan.report.pdf import write_pdf
from tapscan.report.photos import picture
from tapscan.report.sections import indications, notes, tested
from tapscan.report.sections.map import map_section
from tapscan.report.shop import Shop
from tapscan.report.visit_page import Found, LookRow, TapPart, VisitSheet, own_ids, render_visit
from tapscan.report.words import STATES
from tapscan.screening.open_findings import EXAMINATION, EXAMINED
from tapscan.screening.plain_words import plain_of, since
from tapscan.screening.played_notes import told_of
from tapscan.screening.rules import rule_named, rules_of
from tapscan.screening.visit_advice import BUZZ, cautions
from tapscan.sensors import IN_BRIEF
from tapscan.targets import write_text
from tapscan.wording import counted, listed
from tapscan.workflow.round_words import ANSWERS, KEY_ANSWERS, by_answer
from tapscan.workflow.visit import LASTING, Known, known_of
from tapscan.workflow.visit_unknown import unknown_of
from tapscan.workflow.write_report import Wish, about, page_name

PLAIN = Wish()
KEYS_RECORDED = "recorded"
NO_SHOP = Shop()
NOT_WRITTEN = "not written down"
GO_BY_NOW = "What this visit came to was written before that was known."


def write_visit(register: Register, name: str, path: Path | None, wish: Wish = PLAIN) -> Path:
    """Raises UnknownName, MissingExtra for a PDF without WeasyPrint, OSError where it cannot be written."""
    known = known_of(register, find_visit(register, name))
    target = path or page_name(f"{known.visit.name}-visit", wish)
    text = render_visit(visit_sheet(register, known, wish))
    if wish.pdf:
        write_pdf(text, target, (wish.shop or Shop()).paper)
    else:
        write_text(target, text)
    return target


def visit_sheet(register: Register, k: Known, wish: Wish = PLAIN) -> VisitSheet:
    """Photos are made small here."""
    shop, plate = wish.shop or Shop(), find_plate(register, k.visit.plate, exact=True)
    return VisitSheet(
        name=k.visit.name,
        head=_head(k, plate, shop, wish),
        facts=_facts(k, plate, shop),
        cautions=caution_lines(k),
        headline=k.advice.headline,
        lead=k.advice.lead,
        known=_known(k),
        found=found_of(k, shop),
        looked=tuple((_upper(said), regions) for said, regions in by_answer(k.visit)),
        tested=(*(_taps(e, s) for e, s in k.tapped), *_no_taps(k), *_played(k)),
        unknown=unknown_of(k),
        steps=k.advice.steps,
        questions=tuple(q.text for q in k.advice.questions),
        rows=tuple(_row(register, look, shop, recorded=bool(k.notes)) for look in k.visit.round),
        scans=tuple(_part(k, n, plate, shop) for n in range(len(k.scans))),
        shop=shop,
        nothing=k.nothing,
        stop=k.stop,
    )


def caution_lines(k: Known) -> tuple[str, ...]:
    """They stand before all else, on the document and on the screen."""
    since = [f"Since this visit, of {o.date}: {o.sentence}" for o in k.later]
    return (*since, *([GO_BY_NOW] if since else []), *cautions(k.state))


def _head(k: Known, plate: Plate, shop: Shop, wish: Wish) -> tuple[tuple[str, str], ...]:
    v = k.visit
    maker, number = (getattr(v, name) or k.lasting.get(name, ("",))[0] for name in LASTING)
    piano = ", ".join(filter(None, [maker, number and f"number {number}"])) + _as_noted(k, shop)
    rows = [
        ("Piano", piano or NOT_WRITTEN),
        ("Plate's name", f"{plate.name}, {STATES[k.state] if k.state else 'state not told'}"),
    ]
    rows += [("Where", v.place or NOT_WRITTEN), ("Date", shop.day(v.date)), ("Looked at by", v.by_whom or NOT_WRITTEN)]
    rows += [("Workshop", shop.name)] if shop.name else []
    return (*rows, *((("For", wish.whom),) if wish.whom else ()))


def _as_noted(k: Known, shop: Shop) -> str:
    """From which earlier visit the piano's name is; empty where it is from this one."""
    days = sorted({on for _, on in k.lasting.values()})
    return f" (as noted on {listed([shop.day(on) for on in days])})" if days else ""


def _lasting(k: Known, name: str, shop: Shop) -> str:
    said, on = k.lasting.get(name, ("", None))
    return told(f"{said} (as noted on {shop.day(on)})" if on else getattr(k.visit, name))


def _facts(k: Known, plate: Plate, shop: Shop) -> tuple[tuple[str, str], ...]:
    v = k.visit
    return (
        ("Maker", _lasting(k, "maker", shop)),
        ("Number of the piano", _lasting(k, "piano_number", shop)),
        ("Where", told(v.place)),
        ("Looked at by", told(v.by_whom)),
        ("Also there", told(v.present)),
        ("State of the plate", told(STATES[k.state] if k.state else None)),
        ("Pattern", told(plate.pattern)),
        ("Number on the plate", told(plate.serial)),
        ("Notes", told(v.notes)),
    )


def found_of(k: Known, shop: Shop = NO_SHOP) -> tuple[Found, ...]:
    """What weighs first, a flaw before all."""
    eye = [_looked_at(_title(look), look, shop) for look in k.visit.round if look.answer == "note"]
    flaws = [shop.dated(o.sentence) for o in k.opened if o.rule == EXAMINED]
    examined = [Found("Found by an examination", text, True, len(text)) for text in flaws]
    earlier = [
        Found(f"Still open, from {shop.dated(o.date)}", shop.dated(o.sentence), True)
        for o in k.opened
        if o.rule != EXAMINED
    ]
    before = [
        _looked_at(f"Seen on {shop.day(on)}", look, shop, earlier=True) for on, look in (*k.seen_before, *k.explained)
    ]
    listed_ = [
        Found("Seen by eye", f"{_upper(text)}.", True) for e, _ in k.scans for text in in_words(e.seen)
    ]  # of a scan's own list
    listed_ += [Found("Noted by eye", f"{_upper(text)}.", False) for e, _ in k.scans for text in noted(e.checklist)]
    taken = [
        Found(f"Noted on {shop.day(on)} by mistake", shop.dated(f"{_upper(back.told)}."), False)
        for on, back in k.taken_back
    ]
    if k.noted_before:
        said = "; ".join(f"{shop.day(on)}, {REGIONS[look.region]}: {look.told}" for on, look in k.noted_before)
        taken.append(Found("Noted on earlier visits, no sign of a crack", f"{_upper(said)}.", False))
    every = [*taken, *examined, *eye, *(f for _, s in k.scans for f in _heard(s, k)), *listed_, *before, *earlier]
    return tuple(sorted(every, key=lambda f: (not f.never_cut, not f.weighs)))


def _looked_at(title: str, look: Look, shop: Shop, *, earlier: bool = False) -> Found:
    """What a sheet has no room for is cut from the end."""
    seen = f"{_title(look)}: {look.told}" if earlier else f"{_upper(look.told)}{_photos(look)}"
    flaws = _flaws(look, shop)
    text = f"{flaws}{seen}.{_since(look, shop, earlier=earlier)}"
    return Found(title, text, look.open or "buzz" in look.signs, len(flaws))


def _flaws(look: Look, shop: Shop) -> str:
    """Stands before what had been seen; ends with a blank."""
    return shop.dated(f"{EXAMINATION} {'; '.join(o.told for o in look.weighed if o.flaw)}. ") if look.flaws else ""


def _since(look: Look, shop: Shop, *, earlier: bool = False) -> str:
    """Begins with a blank. What an examination found of what was seen, flaws aside; only what it names closes it."""
    if not look.outcomes:
        return " No examination of it is on record." if earlier else ""
    others = [o.told for o in look.weighed if not o.flaw]
    if not others:
        return ""
    said = shop.dated("; ".join(others))
    rest = " It stays open until an examination names what it was." if look.open and not look.flaws else ""
    return f" Examined since: {said}.{rest}"


def _heard(s: Screening, k: Known) -> list[Found]:
    """By the rule's own plain words; the figures stand in the appendix. A note's finding is told the same way."""
    found = []
    for i in _weighing(s, k):
        rule, plain = rule_named(i.rule), plain_of(i)
        where = f" Clearest at {listed([s.scan.where(x) for x in i.stations], 3)}." if i.stations else ""
        found.append(
            Found(rule.title if rule else i.rule, f"{plain.first.format(since=since(s.comparison))}{where}", True)
        )
    return found


def _weighing(s: Screening, k: Known) -> list[Indication]:
    buzzes = k.state is None or k.state in IN_PIANO
    return [i for i in s.indications if i.interpretation == "relevant" or (i.rule == BUZZ and buzzes)]


def _known(k: Known) -> str:
    """How much the findings, or their absence, rest on."""
    round_ = [look for look in k.visit.round if look.region != KEYS]
    seen = sum(look.answer in ("nothing", "note") for look in round_)
    used = [(strike.station, s) for _, s in k.scans for strike in s.scan.strikes if strike.usable]
    places = len({station for station, _ in used})
    taps = f"{counted(len(used), 'tap')} at {counted(places, 'place')} heard" if used else "no tap heard"
    keys = (
        "keys played by hand"
        if any(look.region == KEYS and look.answer in ("nothing", "note") for look in k.visit.looks)
        else "keys recorded"
        if k.notes
        else "keys not played"
    )
    return f"{seen} of {len(round_)} regions seen, {taps}, {keys}."


def _taps(e: ScanEntry, s: Screening) -> tuple[str, str]:
    used = [strike for strike in s.scan.strikes if strike.usable]
    places = list(dict.fromkeys(strike.station for strike in used))
    if not used:
        return "Tapped", f"{counted(len(s.scan.strikes), 'tap')}, none of them usable"
    heard = f"{counted(len(used), 'usable tap')} of {len(s.scan.strikes)}, at {counted(len(places), 'place')} ({listed(places, 12)}), {IN_BRIEF[e.conditions.sensor.kind]}"
    return (
        "Tapped",
        f"{heard}; {counted(len(s.scan.modes), 'tone')} heard; {_checked(s)}",
    )


def _checked(s: Screening) -> str:
    if any(i.interpretation == "relevant" for i in s.indications):
        return "something was found"
    rules = rules_of(s.scan)
    made = len(rules) - len(s.rules_not_run)
    if not made:
        return "no check could be made"
    missing = len(rules) - made
    found = f"the {'other ' if missing else ''}{counted(made, 'check')} found nothing"
    return f"{missing} of {len(rules)} checks could not be made (why: appendix); {found}" if missing else found


def _no_taps(k: Known) -> tuple[tuple[str, str], ...]:
    return () if k.tapped else (("Tapped", "not tapped"),)


def _played(k: Known) -> tuple[tuple[str, str], ...]:
    keys = next(look for look in k.visit.round if look.region == KEYS)
    said = KEY_ANSWERS[keys.answer]
    recorded = tuple(("Keys recorded", "; ".join(told_of(s.scan.played))) for _, s in k.notes if s.scan.played)
    if recorded and keys.answer is None:
        return recorded
    return (("Keys", f"{said}{f': {keys.told}' if keys.told else ''}"), *recorded)


def _row(register: Register, look: Look, shop: Shop, *, recorded: bool) -> LookRow:
    answer = (KEY_ANSWERS if look.region == KEYS else ANSWERS)[look.answer]
    if recorded and look.region == KEYS and look.answer is None:
        answer = KEYS_RECORDED
    photos = tuple(
        picture(register.files.path_of(f.sha256), f"{_title(look)}, photo {n}") for n, f in enumerate(look.photos, 1)
    )
    said = f"{_flaws(look, shop)}{look.told}.{_since(look, shop)}" if look.outcomes else look.told
    return LookRow(REGIONS[look.region], answer, said, look.open, photos)


def _part(k: Known, n: int, plate: Plate, shop: Shop) -> TapPart:
    e, s = k.scans[n]
    weighing, drawn = _weighing(s, k), map_section(s)
    shown = [*([indications.SECTION] if weighing else []), notes.SECTION if s.scan.played else tested.SECTION]
    told_ = replace(s, indications=tuple(weighing))
    sections = sections_of(told_, about(plate, e, shop, ()), Extras(shop, client=True), shown)
    return TapPart(
        "The keys, recorded" if s.scan.played else "The taps",
        e.name,
        f"{s.headline}. {shop.dated(s.summary)}",
        _made(e, s),
        drawn.small if drawn else None,
        drawn.legend if drawn else (),
        [(id_, title, own_ids(html, n)) for id_, title, html in sections],
    )


def _made(e: ScanEntry, s: Screening) -> tuple[tuple[str, str], ...]:
    c, layout = e.conditions, s.scan.map
    rows = (
        ("State", STATES[c.state] if c.state else NOT_WRITTEN),
        ("Listened by", c.sensor.told or NOT_WRITTEN),
    )
    if s.scan.played:
        return (*rows, ("Played by", e.operator or NOT_WRITTEN))
    places = f"{e.layout}: a plan of {counted(len(layout.stations), 'place')}" if layout else e.layout
    return (
        *rows,
        ("Places", places or NOT_WRITTEN),
        ("Hammer", c.hammer or NOT_WRITTEN),
        ("Tapped by", e.operator or NOT_WRITTEN),
    )


def _photos(look: Look) -> str:
    return f" ({counted(len(look.photos), 'photo')})" if look.photos else ""


def _title(look: Look) -> str:
    return _upper(REGIONS[look.region])


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
