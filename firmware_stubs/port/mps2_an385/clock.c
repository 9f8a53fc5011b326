/* The clock: the first half of the dual timer runs free at 25 MHz and is read, never counted by interrupts. */
#include "board.h"
#include "registers.h"

#define CYCLES_PER_US (CLOCK_HZ / 1000000u)
#define LONGEST_SLEEP_US 100000u /* so that the bench is looked at; a board of silicon sleeps on */

static uint64_t us;
static uint32_t last; /* the counter at the last reading, */
static uint32_t rest; /* and the cycles since the last whole microsecond */

void clock_irq(void);

void clock_begin(void)
{
    DUAL1_CTRL = 0;
    DUAL1_CTRL = DUAL_32BIT | DUAL_INT | DUAL_ON;
    last = DUAL1_VALUE;
    NVIC_ENABLE = 1u << IRQ_DUALTIMER;
}

uint64_t clock_us(void)
{
    uint32_t before = board_lock();
    uint32_t now = DUAL1_VALUE;
    uint32_t cycles = last - now; /* it counts down, and round after 171 s */
    last = now;
    us += cycles / CYCLES_PER_US;
    rest += cycles % CYCLES_PER_US;
    if (rest >= CYCLES_PER_US) {
        rest -= CYCLES_PER_US;
        us++;
    }
    uint64_t read = us;
    board_unlock(before);
    return read;
}

void clock_wake_at(uint64_t at_us)
{
    uint64_t now = clock_us();
    uint64_t left = at_us > now ? at_us - now : 1;
    DUAL2_CTRL = 0;
    DUAL2_INTCLR = 1;
    DUAL2_CTRL = DUAL_32BIT | DUAL_RELOAD | DUAL_ONCE;
    DUAL2_LOAD = (left > LONGEST_SLEEP_US ? LONGEST_SLEEP_US : (uint32_t)left) * CYCLES_PER_US;
    DUAL2_CTRL = DUAL_32BIT | DUAL_RELOAD | DUAL_ONCE | DUAL_INT | DUAL_ON;
}

/* The second half has run out and ends a sleep; or the first has gone round, once in 171 s, and nobody else may have read
   the clock since. */
void clock_irq(void)
{
    DUAL2_CTRL = 0;
    DUAL2_INTCLR = 1;
    DUAL1_INTCLR = 1;
    (void)clock_us();
}
