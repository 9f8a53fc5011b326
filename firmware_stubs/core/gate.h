/* The transmitter's gate: open in pulses inside a grant, dropping out as the grant says, and read back.

   The gate is a retriggerable one-shot (P6): it is triggered for the rest of a pulse, or for FC_HOLD_US, whichever is
   shorter, and again every FC_AGAIN_US, so that a hung processor falls quiet within FC_HOLD_US. A pulse that could not
   be whole before the grant ends or drops out is not begun: every pulse is as long as was ordered, unless it is ordered
   off. */
#ifndef FIELDCTL_GATE_H
#define FIELDCTL_GATE_H

#include "state.h"

#define FC_HOLD_US 120000u
#define FC_AGAIN_US 60000u

/* Whether a pattern of milliseconds is within EN 300 718-1. */
bool fc_keying_legal(uint32_t period, uint32_t on);

/* Whether the grant lets it send at a tick, the pauses of the keying apart. */
bool fc_sends_at(const struct fc_core *core, uint64_t ticks);

/* What is read back at the gate: on inside the grant unless the pulses are not seen, on outside it when it is stuck. */
bool fc_gate_on(struct fc_core *core, uint64_t ticks);

/* Whether the gate is on though nothing lets it send. */
bool fc_gate_stuck(const struct fc_core *core, uint64_t ticks);

/* Ends the grant; off at once. */
void fc_end_grant(struct fc_core *core);

/* Ends it if it has run out. */
void fc_forget_grant(struct fc_core *core, uint64_t ticks);

/* Does what the pattern wants now; gives when it wants to be asked again. */
uint64_t fc_gate_step(struct fc_core *core, uint64_t ticks);

#endif
