/* The bus driver: what the part must do. A stub.

   - RS-485, slew-limited to 115 200 baud: bus chatter is a radio source beside people who search at 457 kHz. At this rate
     the spectrum has its zero near there, if bits are of equal length: within 1 % over temperature.
   - On from before the first start bit to after the last stop bit, off at most two bytes later (P9): by the UART's "last
     bit is out", never by a guess. Off in reset, off without power, and off by itself when the program hangs while it
     talks (a one-shot of 20 ms).
   - Fail-safe receiver: an open or idle line reads as ones. An eighth of a unit load: 32 targets and more on a line.
   - The receiver is deaf while the own driver is on, or the port drops what it hears (P4).
   - Interrupts put bytes into one ring of at least 256, each stamped as it comes (P4), and do nothing else.
   - Isolated from the processor where cables run farther than the building that they begin in. */
#ifndef TEMPLATE_BUS_DRIVER_H
#define TEMPLATE_BUS_DRIVER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

void bus_begin(uint32_t baud);
bool bus_send(const uint8_t *data, size_t size);                      /* P9 */
void bus_listen(bool on);                                             /* P10 */
size_t bus_take(uint8_t *data, size_t room, uint64_t *last); /* P4: out of the ring, when the last byte was whole */

#endif
