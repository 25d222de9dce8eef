"""The register in the browser, on this computer: parses requests, calls workflow, writes pages. Nothing is analysed or decided here.

server.py     what listens: this computer's own pages, and what a phone may reach
guard.py      who may ask, and how much
shown.py      templates to pages
forms.py      what a form says
counts.py     what is counted when somebody asks
works.py      what takes longer than a page may: one at a time, with its progress
events.py     the stream that a page listens to
screens/      one file a screen, its template of the same name in templates/
static/       one style sheet, and the little JavaScript there is
"""
