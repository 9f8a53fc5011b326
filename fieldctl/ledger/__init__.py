"""The append-only record: every fact is committed here before anybody is told.

    entry.py      one entry as it is handed out, and the genesis of the chain
    codec.py      fact <-> canonical body; old and newer bodies open
    chain.py      the hash that ties each entry to the one before
    schema.py     the tables as they are now; migrations/ how they came to be
    opening.py    files, pragmas, old and newer databases
    lock.py       one writer only, and who it is
    failing.py    what went wrong with the file, in words, with a remedy
    pages.py      rows -> entries, and the questions that may be asked
    reader.py     `Reader`: the ledger for whoever only reads, also while a writer runs
    standing.py   in which states each target is, and since when
    beside.py     what can be thrown away and made again: a summary of each exercise
    forgetting.py names that go for good, also out of a backup that is restored
    pen.py        what one transaction writes: entries, people, telemetry, settings
    writer.py     the one thread that commits, in groups
    store.py      `Ledger`: a reader that also writes, and tells its subscribers after each commit
    verify.py     walks the chain and names what is wrong
    export.py     JSON Lines and CSV

SQLAlchemy and pydantic are imported by these modules, not by this one: the command line starts without them.
"""
