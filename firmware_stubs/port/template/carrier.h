/* Carrier sensing: what the part must do, on a board that declares FC_CAN_CARRIER_SENSE. A stub.

   - Hears a 457 kHz carrier as strong as that of a unit 5 m away, and says within 20 ms that there is one.
   - Is deaf while the own gate is open and for as long after it as the own antenna rings.
   - Says only what it hears. That somebody else sends is for people to look into: any signal is a person until proved
     otherwise, and no part of a target may take it upon itself to decide that it is not. */
#ifndef TEMPLATE_CARRIER_H
#define TEMPLATE_CARRIER_H

#include <stdbool.h>

bool carrier_heard(void);

#endif
