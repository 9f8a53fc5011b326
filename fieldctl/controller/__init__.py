"""The shell: the only owner of links, reconnects, timers and the ledger's pen.

controller   the object that everything meets in: links kept, facts committed, exercises stepped
ports        what it is given from outside: clock, entropy, keys, links
memory       what it learns from the ledger when it starts
line         what lines share; bus_line: the master's turns; air_line: conversations over a broker
known        what is known of each target right now, and in which state it therefore is
hearing      what targets say, taken in; asking: what they are asked when nothing else waits
night        who sleeps while the field is closed and nobody is about
states       since when each is online, asleep, overdue, weak, faulty or barred, over restarts
alarms       what needs a person: the table and the step; alarm_keeper: readings in, facts out; hook: the webhook
strikes      a strike on its way from a target's log to the ledger
pen          facts to the ledger, in order; a failure ends sending
grants       permission to send: committed, sent, renewed, ended
alloff       the order that outranks every other
exercises    engines of what goes on, fed with committed facts
joining      finding new targets and giving them keys
bridge       the bus master of a far zone
verbs        what a person may ask for: the socket, the web and the tests use these and nothing else
socket       the control socket (mode 0600)
snapshot     what `status` shows: only what was confirmed, with its age
"""
