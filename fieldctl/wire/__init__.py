"""The target protocol without any input or output: bytes in, values out, `now` given.

frames     COBS + CRC-16 between 0x00 bytes: where a frame begins and ends
envelope   whose frame it is and of which form: token, sealed, all off, hail, add
seal       tags, counters, replay windows, keys
fields     the fields that messages are made of: key and check of each, named numbers
messages   what is said, as values and CBOR (the contract is messages.cddl)
obey       which order a target carries out, as a table
session    one class that plays both ends: asks, answers, resends, outcomes
bus        whose turn it is on a multi-drop bus, and the search for new targets
adding     giving site keys to a new target
"""
