"""Certifying a target: numbered requirements in the contract's words, tried at whatever is at the end of a port.

requirements   the one list, in the order in which it is tried; `fieldctl certify --list` shows it
row            one of them: a function whose docstring is the requirement in the contract's words
checks_*       these functions: line, seal, orders, off (all off and the gate), life, pad, keys
talk           the controller's end of the conversation, which can also say what no controller would
bench          what a check may do: send bytes, let time pass, look at what was heard
address        HOST:PORT, as a person writes it
side_door      what a port may offer beside its line: reboot, loss of power, touches, the gate's edges …
joining        finding a new target and giving it keys for the bench
run            every requirement in turn; the target is left quiet whatever happens
report         one page to print and sign, as text and HTML, and the same as JSON
live           benches in real time: a serial port, a socket, a broker (`retaining`); in virtual time: `sims.workbench`

Nothing here reads a target's inside: what cannot be seen on the line comes through the side door, which the port
declares, or from the operator's hand, or the requirement is "not tried".

A build that breaks a requirement on purpose (tests only) has the switch BREAK_ and the requirement's id in capitals,
with _ for -: `seal-tag` is broken by BREAK_SEAL_TAG. What such a build does wrong, and nothing else, stands above the
check. A check is written so that it fails for its own fault and not for its neighbours': it believes what other checks
look at, asks again where a line may lose something, and leaves the target as it found it.
"""
