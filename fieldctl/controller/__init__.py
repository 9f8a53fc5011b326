"""The shell: the only owner of links, reconnects, timers and the ledger's pen.

controller   the object that everything meets in: facts in, engine steps, what the day and the targets are
known        what is known of each target right now, and in which state it therefore is
lines        one line for each link: the bus master's turns, or the conversation over a broker
pen          facts to the ledger, in order; a failure ends sending
grants       permission to send: committed, sent, renewed, ended
alloff       the order that outranks every other
exercises    engines of what goes on, fed with committed facts
verbs        what a person may ask for: the socket, the web and the tests use these and nothing else
socket       the control socket (mode 0600)
snapshot     what `status` shows: only what was confirmed, with its age
"""
