"""Upkeep: what has to be changed, mended or carried up, so that the field is good tomorrow morning.

    curves     the one table of batteries, with its sources      slopes    Theil–Sen
    readings   hours on one axis, impossible values kept out, medians of days
    swaps      was the battery changed: seen, ticked, and where the two do not agree
    estimate   charge left with an interval, and what it rests on
    energy     what a day takes: counted, or by table and calendar
    forecast   charge day by day, the last day with its bands, whether it lasts until closing day
    findings   what is wrong, by key with figures; advice     words     sentences and remedies (english.toml)
    account    one target's whole account, and the field's, most urgent first
    read       from a site and its ledger to the account      as_json   JSON with its schema, CSV
    carry      where to go, in which order (route), what to do and to take along; carry_read, carry_as_json
    visits     what was ticked up there, and where two phones do not agree
    selftest   what each target showed before the season      retrieval    every one in or given up by name, in spring

Nothing here knows a simulated cell; nothing orders anything. Pads, links and snow join as further findings of the
account.
"""
