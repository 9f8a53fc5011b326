/* What lasts over a loss of power: `kept`, in a ring of pages of which one is written. Power may go at any write.

   A page is a head and records, newest last. A full page makes the next one: erased, then one record with everything,
   then the head, so that a page without a whole head was never begun. What was torn by a loss of power is passed over;
   what was whole once and is not any more is damage: nothing sends any more until the keys are given anew. */
#ifndef FIELDCTL_STORE_H
#define FIELDCTL_STORE_H

#include "state.h"

#define FC_STORE_PAGES 4u /* from page 0 */

/* Reads what lasts into core->kept; blank flash is a new unit. */
void fc_store_open(struct fc_core *core);

/* Writes what changed and takes it over; false, and nothing changed, when it could not be written. */
bool fc_store(struct fc_core *core, const struct fc_kept *next);

/* The same for a counter alone, which is written most often. */
bool fc_store_used(struct fc_core *core, uint32_t mark);
bool fc_store_seen(struct fc_core *core, uint32_t mark);

uint16_t fc_sum(uint16_t sum, const uint8_t *data, size_t size);

#endif
