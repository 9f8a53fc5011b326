/* Start-up: vector table, memory, the painted stack, why the program began, and how it ends. */
#include <string.h>

#include "bench.h"
#include "board.h"
#include "registers.h"

#define PAINT 0xC5C5C5C5u
#define LASTS 0x46434B45u /* "the memory lasted": set in .noinit from the first start on */

extern uint32_t board_stack_low[], board_stack_top[];
extern uint32_t board_data_low[], board_data_top[], board_data_image[];
extern uint32_t board_bss_low[], board_bss_top[];

int main(void);
void board_reset(void) __attribute__((noreturn));
void board_nmi(void);
void board_fault(void);
void uart_rx_irq(void);
void uart_tx_irq(void);
void clock_irq(void);

static struct {
    uint32_t lasts, not_lasts; /* the second is the complement: memory after a power cut may hold anything */
    uint32_t cause;
} kept __attribute__((section(".noinit")));

static enum board_cause cause;

typedef void (*vector)(void);

struct vectors {
    void *stack;
    vector system[15];
    vector irq[IRQS];
};

__attribute__((section(".vectors"), used)) static const struct vectors vectors = {
    board_stack_top,
    {board_reset, board_nmi, board_fault, board_fault, board_fault, board_fault, 0, 0, 0, 0, board_fault, board_fault, 0,
     board_fault, board_fault},
    {[IRQ_UART0_RX] = uart_rx_irq,
     [IRQ_UART0_TX] = uart_tx_irq,
     [IRQ_DUALTIMER] = clock_irq},
};

void board_reset(void)
{
    register uint32_t *here __asm__("sp");
    for (uint32_t *word = board_stack_low; word < here - 8; word++) {
        *word = PAINT;
    }
    memcpy(board_data_low, board_data_image, (size_t)((char *)board_data_top - (char *)board_data_low));
    memset(board_bss_low, 0, (size_t)((char *)board_bss_top - (char *)board_bss_low));

    bool lasted = kept.lasts == LASTS && kept.not_lasts == ~LASTS;
    cause = lasted ? (enum board_cause)kept.cause : CAUSE_POWER;
    kept.lasts = LASTS;
    kept.not_lasts = ~LASTS;
    kept.cause = CAUSE_WATCHDOG; /* who gets as far as saying why says so: what comes without a word is the watchdog */

    main();
    board_restart(CAUSE_FAULT);
}

enum board_cause board_cause(void)
{
    return cause;
}

void board_restart(enum board_cause why)
{
    kept.cause = why;
    bench_gate(false, 0);
    SCB_AIRCR = AIRCR_RESET;
    for (;;) {
    }
}

/* The watchdog's first bite: too late to go on, in time to fall quiet. Its second is the reset. */
void board_nmi(void)
{
    kept.cause = CAUSE_WATCHDOG;
    bench_gate(false, 0);
    for (;;) {
    }
}

void board_fault(void)
{
    board_restart(CAUSE_FAULT);
}

void board_halt(void)
{
    WATCHDOG_LOCK = WATCHDOG_KEY;
    WATCHDOG_CTRL = 0;
    NVIC_DISABLE = 0xFFFFFFFFu;
    for (;;) {
        __asm__ volatile("wfi");
    }
}

uint32_t board_lock(void)
{
    uint32_t before;
    __asm__ volatile("mrs %0, primask\n\tcpsid i" : "=r"(before)::"memory");
    return before;
}

void board_unlock(uint32_t before)
{
    __asm__ volatile("msr primask, %0" ::"r"(before) : "memory");
}

void board_sleep(void)
{
    __asm__ volatile("wfi" ::: "memory");
}

uint32_t board_stack_size(void)
{
    return (uint32_t)((char *)board_stack_top - (char *)board_stack_low);
}

uint32_t board_stack_used(void)
{
    const uint32_t *word = board_stack_low;
    while (word < board_stack_top && *word == PAINT) {
        word++;
    }
    return (uint32_t)((const char *)board_stack_top - (const char *)word);
}

uint32_t board_data_bytes(void)
{
    return (uint32_t)((char *)board_data_top - (char *)board_data_low) +
           (uint32_t)((char *)board_bss_top - (char *)board_bss_low) + (uint32_t)sizeof kept;
}
