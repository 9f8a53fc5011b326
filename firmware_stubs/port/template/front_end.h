/* The pad's analogue front end: what the part must do. A stub.

   - Band 5 Hz to 1.5 kHz, flat within 3 dB, with the pad, its cable and the snow's load on it; off, it draws nothing.
   - Rest in the middle third of the converter's range, whatever lies on the pad and at any temperature.
   - Converts at 4000 Hz by a hardware trigger from the clock that stamps (P1, P11), at least twelve bits, into a ring that
     holds 20 ms, without the processor.
   - Noise at rest of at least one step of the converter, and below a seventh of what a probe does under the deepest snow
     that it will have: measure that, every waveform in this project is invented.
   - Survives somebody who jumps on the pad, a snow groomer over it, and a discharge of static into it. */
#ifndef TEMPLATE_FRONT_END_H
#define TEMPLATE_FRONT_END_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

void front_end_power(bool on);                                                  /* P11 */
size_t front_end_take(int16_t *samples, size_t room, uint64_t *first); /* P11: out of the ring, when the first was taken */

#endif
