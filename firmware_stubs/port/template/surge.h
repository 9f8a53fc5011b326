/* Surge protection: what the part must do. It has no program; the header stands here so that nobody forgets it.

   - At each end of every cable, and at every target on it: gas tube to earth, series resistance, suppressor between the
     lines and to ground, in this order from the cable.
   - The screen is earthed once, at the end that the installer names. Differences of potential between places on a
     mountain are real: isolation in the bus driver, none of it in the protection.
   - Fails short, not open, and a target whose protection has failed short must not take the bus down with it: a fuse in
     its own branch.
   - After a thunderstorm each target is asked for its report, and whoever does not answer is dug out.
   - Installation, earthing and surge protection by people competent to do so. */
#ifndef TEMPLATE_SURGE_H
#define TEMPLATE_SURGE_H
#endif
