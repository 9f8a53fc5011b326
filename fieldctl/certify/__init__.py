"""Certifying a target: numbered requirements in the contract's words, tried at whatever is at the end of a port.

requirements   the one list: id, words, what it depends on, the check
bench          what a check may do: send bytes, let time pass, look at what was heard
side_door      what a port may offer beside its line: reboot, power cut, touches, the gate's edges …
talk           the controller's end of the conversation, which can also say what no controller would
joining        finding a new target and giving it keys for the bench
checks_*       one function for each requirement
run            every requirement in turn; the target is left quiet whatever happens
report         one page to print and sign, as text and HTML, and the same as JSON
live           benches in real time: a serial port, a socket, a broker (virtual time: `sims.workbench`)

Nothing here reads a target's inside: what cannot be seen on the line comes through the side door, which the port
declares, or from the operator's hand, or the requirement is "not tried".

A build that breaks a requirement on purpose (tests only) has the switch BREAK_ and the requirement's id in capitals,
with _ for -: the requirement `seal-tag` is broken by BREAK_SEAL_TAG. What a broken build does wrong stands in the
list below each id, in `requirements.py`, as `breaks`.
"""
