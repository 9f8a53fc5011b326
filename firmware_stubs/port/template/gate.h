/* The transmitter and its gate: what the part must do. A stub: every board has its own.

   - A pull-down holds the gate off whenever the processor does not drive it: in reset, without a program, without power.
   - Between the processor's pin and the transmitter sits a retriggerable one-shot. An edge opens the gate for the time
     that was set, another edge within it begins the time anew, and without one the gate falls by itself, whatever the pin
     and the processor do (P6). A pin that is stuck, at either level, must not send.
   - A second pin switches it off at once, and outranks the first.
   - It is read back behind the one-shot (P7): from the supply of the output stage or, better, from an antenna-current
     sensor (declare FC_CAN_ANTENNA_CURRENT). Never from the pin itself.
   - Carrier 457 kHz within 80 Hz over the whole range of temperature, from a crystal of its own; with the gate off
     nothing that a receiver at 1 m can hear.
   - Levels, if declared, change the antenna's current and not the keying (P8). */
#ifndef TEMPLATE_GATE_H
#define TEMPLATE_GATE_H

#include <stdbool.h>
#include <stdint.h>

void gate_open(uint32_t hold_us); /* P6; 0: off now */
bool gate_is_open(void);          /* P7 */
void gate_level(uint8_t percent); /* P8 */

#endif
