"""The command line: one thin module a command; the only place that reads settings, entropy and the wall clock.

main       the program: global options, errors in words, plug-in commands
outside    clock, keys, links and ledger of a site's folder
show       tables and JSON
"""
