"""A drill rehearsed on paper, before anyone puts on skis.

    preview         time to each find, share found within the limit, what makes it hard; an estimate, and said to be one
    picture         the zone from above: field, flux lines, strips, who dominates where (loads matplotlib)
    apart           whether two exercises, or two burials, would disturb each other
    scene           a drill on a site as arrays, with everything that had to be assumed
    skill           novice, trained, practised: our own assumptions
    searcher        searchers that search as taught, second by second; with strips, hearing, close_in, probe_line
    rehearse        blocks of repetitions, the same answer for any number of workers; with chance, crew, tally, hard

Nothing here sends, asks or switches anything; numpy is loaded with this package, so import it late.
"""

from fieldctl.rehearsal.preview import Preview, as_lines, beside_recorded, preview

__all__ = ["Preview", "as_lines", "beside_recorded", "preview"]
