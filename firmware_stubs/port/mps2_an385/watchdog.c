/* The watchdog: its first bite is the NMI, which no code can hold off; its second, as long after, is the reset. */
#include "board.h"
#include "registers.h"

void watchdog_begin(void)
{
    WATCHDOG_LOCK = WATCHDOG_KEY;
    WATCHDOG_LOAD = CLOCK_HZ / 1000u * WATCHDOG_MS;
    WATCHDOG_CTRL = WATCHDOG_ON;
    WATCHDOG_LOCK = 0;
}

void watchdog_feed(void)
{
    WATCHDOG_LOCK = WATCHDOG_KEY;
    WATCHDOG_INTCLR = 1;
    WATCHDOG_LOCK = 0;
}
