"""What the shop keeps: plates, scans, what was heard in them, and what a later examination found.

A register is one folder (or a database that several benches share, docs/server.md):

    register.sqlite     facts and results (tables.py; brought up to date by migrations/)
    files/ab/abcd...    recordings and photos, unaltered, each named by its SHA-256
    backups/            copies of register.sqlite made before each migration

    entries.py    what goes in and comes out: Plate, NewScan, ScanEntry, Outcome, the visual checklist
    names.py      names of plates and scans
    database.py   opens, makes and migrates a register; sqlite_side.py and server_side.py hold what differs between a folder and PostgreSQL
    address.py    where a register lies, and how that is told without a password
    setting.py    facts of the register itself
    files.py      puts a file into the folder whole or not at all; file_store.py and object_store.py: where several benches share files
    outbox.py     strikes that wait on a bench for the server
    moving.py     the whole register to a server or back
    accounts.py   rights on a server
    plates.py     plates and their photos
    scans.py      scans, their conditions, checklist, outcomes, baseline
    results.py    screenings to rows and back, equal to what was stored
    upkeep.py     check and backup
    export.py     CSV and JSON

A scan is stored files first, then every row in one transaction; whatever stops that in the middle leaves at most
a file nobody refers to, which `check` reports.
"""
