/* A target, whole: what a board calls. One `struct fc_core` in static memory, one loop, one thread.

       fc_start(&core, &port, ticks, why);
       for (;;) {
           take bytes out of the ring, fc_bytes(&core, …);
           take samples out of the ring, fc_samples(&core, …);
           next = fc_step(&core, ticks);
           sleep until next or an interrupt
       }

   `at` is always now, in microseconds since this start (P1), but for what says otherwise. */
#ifndef FIELDCTL_CORE_H
#define FIELDCTL_CORE_H

#include "state.h"

/* Reads the storage, names this boot, and is quiet. First of all, once. */
void fc_start(struct fc_core *core, const struct fc_port *port, uint64_t at, uint8_t why);

/* Does what is due; gives the tick at which it wants to be called again at the latest. */
uint64_t fc_step(struct fc_core *core, uint64_t at);

/* Bytes of a bus, of which the last was whole at `at`. */
void fc_bytes(struct fc_core *core, const uint8_t *data, size_t size, uint64_t at);

/* One message over radio; retained as the medium's flag says. It is written to while it is read. */
void fc_payload(struct fc_core *core, uint8_t *payload, size_t size, uint64_t at, bool retained);

/* The radio can carry again: says who it is, and what waits. */
void fc_connected(struct fc_core *core, uint64_t ticks);

/* Samples of the pad, the first of them taken at `first`. */
void fc_samples(struct fc_core *core, const int16_t *samples, size_t count, uint64_t first);

/* Somebody pressed the button. */
void fc_pressed(struct fc_core *core, uint64_t at);

/* A strike at `at` with features as fieldctl/strikes/features.py has them; for the detector, and for benches that have
   no pad. False when it was not logged. */
bool fc_strike(struct fc_core *core, const uint32_t *features, size_t count, uint64_t at);

/* Keys put in by hand, over USB at a bench: as if they had been added. False when they could not be stored. */
bool fc_give_keys(struct fc_core *core, const uint8_t own[16], const uint8_t all_off[16], uint32_t version);

#endif
