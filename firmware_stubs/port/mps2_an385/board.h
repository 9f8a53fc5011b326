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
void clock_wake_at(uint64_t us); /* an interrupt then, or somewhat before */

/* uart.c */
void uart_begin(uint32_t baud);
void uart_listen(bool on);
bool uart_waits(void); /* whether bytes are in the ring */
uint32_t uart_take(uint8_t *data, uint32_t room, uint64_t *last_us); /* and when the last byte in the ring came */
bool uart_give(const uint8_t *data, uint32_t size);                  /* false: no room for all of it, nothing taken */
void uart_say(const char *text);                                     /* on the second UART, for people; waits */

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
void bench_turn(void);                /* once in each turn of the loop */
uint64_t bench_wakes(uint64_t until); /* when to wake at the latest, where it was to be at `until` */
void bench_publish(void);             /* its ticks, for the world to read */
bool bench_cut_at_record(void); /* whether the power goes at this write, */
bool bench_cut_in_word(void);   /* or in the middle of this word */
void bench_power_goes(void) __attribute__((noreturn));
void bench_gate(bool on, uint32_t hold_us);
bool bench_gate_reads(void);
int16_t bench_sample(uint64_t at_us); /* of the pad's converter, about its rest */
void bench_entropy(uint8_t *data, size_t size);

/* port.c: the contract in port.h, and what the loop takes from the board. */
struct fc_port;
extern const struct fc_port board_port;
void board_begin(void);                                                     /* gate off, then everything else */
uint8_t board_why(void);                                                    /* FC_WHY_… */
size_t board_bytes(uint8_t *data, size_t room, uint64_t *last);             /* for fc_bytes */
size_t board_samples(int16_t *samples, size_t room, uint64_t *first);       /* for fc_samples */
bool board_pressed(void);                                                   /* once a press, for fc_pressed */
void board_idle(uint64_t until);                                            /* until then, or an input */

#endif
