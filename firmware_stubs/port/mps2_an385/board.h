/* What the files of this port share: the hardware of the board, below the contract in port.h. */
#ifndef MPS2_BOARD_H
#define MPS2_BOARD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* start.c: why the program began. */
enum board_cause { CAUSE_POWER, CAUSE_WATCHDOG, CAUSE_FAULT, CAUSE_ASKED };
enum board_cause board_cause(void);
void board_restart(enum board_cause cause) __attribute__((noreturn));
void board_halt(void) __attribute__((noreturn)); /* as if the power were gone */
uint32_t board_lock(void);                       /* interrupts off; gives what `board_unlock` needs */
void board_unlock(uint32_t before);
void board_sleep(void); /* until any interrupt */
uint32_t board_stack_used(void);
uint32_t board_stack_size(void);
uint32_t board_data_bytes(void);

/* clock.c: the dual timer counts 25 MHz by itself; nobody counts interrupts, which get lost under emulation. */
void clock_begin(void);
uint64_t clock_us(void);
void clock_wake_every(uint32_t us);

/* uart.c */
void uart_begin(uint32_t baud);
int uart_take(void);                                /* the next byte of the ring; -1: none */
bool uart_give(const uint8_t *data, uint32_t size); /* false: no room for all of it, and nothing was taken */
bool uart_sending(void);
void uart_say(const char *text); /* on the second UART, for people; waits */

/* watchdog.c: bites after one to two times `WATCHDOG_MS`. */
#define WATCHDOG_MS 1000u
void watchdog_begin(void);
void watchdog_feed(void);

/* flash.c: whole pages are erased to ones, words are written once and can only lose ones. */
#define FLASH_PAGE 1024u
#define FLASH_PAGES 64u
bool flash_erase(uint32_t page);
bool flash_write(uint32_t offset, const void *data, uint32_t size); /* offset and size in whole words */
const uint8_t *flash_at(uint32_t offset);

/* bench.c: the world around the board. */
void bench_begin(void);
void bench_turn(void); /* once in each turn of the loop */
bool bench_cut_at_record(void); /* whether the power goes at this write, */
bool bench_cut_in_word(void);   /* or in the middle of this word */
void bench_power_goes(void) __attribute__((noreturn));
void bench_gate(bool on, uint32_t hold_us);
bool bench_gate_reads(void);
int bench_sample(uint64_t at_us); /* of the pad's converter, about BENCH_PAD_MIDDLE */
#define BENCH_PAD_MIDDLE 2048

#endif
