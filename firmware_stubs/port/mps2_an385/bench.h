/* The bench: a page of the memory file through which a test plays the world around a board. It stands for whatever is not
   the processor: the transmitter behind its gate, the pad's converter, the cell, the button, the label with the factory
   secret. The core never sees it; `sims/board.py` has the same offsets. A board of silicon has none of this.

   Words are written by one side each: W by the world (the test), B by the board. */
#ifndef MPS2_BENCH_H
#define MPS2_BENCH_H

#include <stdint.h>

#define PSRAM 0x21000000u /* 16 MiB, backed by a file that outlives the emulator */
#define FLASH_BYTES 0x10000u /* the storage, at its begin */
#define BENCH_AT 0x80000u
#define GATE_LOG 2048u
#define PLAY_SAMPLES 0x80000u

#define BENCH_MAGIC 0x31484346u

/* What the world does to a board once (`order`). */
enum { BENCH_NONE, BENCH_HANG, BENCH_HANG_DEAF, BENCH_FAULT, BENCH_RESET };

struct gate_span {
    uint32_t on_lo, on_hi;   /* ticks at which it opened */
    uint32_t off_lo, off_hi; /* ticks at which it fell or, unless triggered again, will fall by itself */
    uint32_t start, spare;   /* `starts` then: ticks begin anew with each */
};

struct bench {
    uint32_t magic;      /* 000 B set when the board has begun */
    uint32_t starts;     /* 004 B how often a program began on this file */
    uint32_t seq;        /* 008 B odd while now is being written */
    uint32_t now_lo;     /* 00c B its ticks, at each turn of its loop and at each byte that it sends */
    uint32_t now_hi;     /* 010 B */
    uint32_t stack_size; /* 014 B */
    uint32_t stack_used; /* 018 B deepest mark so far */
    uint32_t data_bytes; /* 01c B variables, without the stack */
    uint32_t cut_done;   /* 020 B 1 after the cut of the power */
    uint32_t overruns;   /* 024 B bytes lost between UART and ring */
    uint32_t writes;     /* 028 B words written and pages erased, since the file was made */
    uint32_t gate_head;  /* 02c B spans begun, since the file was made */
    uint32_t loops;      /* 030 B turns of the loop */
    uint32_t done;       /* 034 B the last `order_seq` that was obeyed */
    uint32_t result;     /* 038 B of a selftest: 0 running, 1 passed, 2 failed */
    uint32_t level;      /* 03c B percent of the full moment */

    uint32_t hardware[2]; /* 040 W hardware id, eight bytes */
    uint32_t secret[4];   /* 048 W factory secret, sixteen bytes */
    uint32_t entropy[4];  /* 058 W fresh at every start */
    uint32_t rest_mv;     /* 068 W */
    uint32_t load_mv;     /* 06c W */
    uint32_t kelvin10;    /* 070 W */
    uint32_t pressed;     /* 074 W how often the button was pressed */
    uint32_t cut_in;      /* 078 W the power goes at this many words from now; 0: never. The board counts it down */
    uint32_t gate_stuck;  /* 07c W the gate stays on whatever is ordered */
    uint32_t gate_lies;   /* 080 W the gate reads off whatever it does */
    uint32_t order;       /* 084 W */
    uint32_t order_seq;   /* 088 W raised after `order` */
    uint32_t noise;       /* 08c W root mean square of the pad at rest, in 1/16 of a step of the converter */
    uint32_t play_lo;     /* 090 W ticks of the first sample of a waveform, */
    uint32_t play_hi;     /* 094 W   any time ahead */
    uint32_t play_count;  /* 098 W how many samples; 0: nothing is played, as at each start */
    uint32_t storage_bad; /* 09c W the storage refuses every write */
    uint32_t cut_records; /* 0a0 W the power goes at this many writes or erases from now; 0: never. Counted down */
    uint32_t cut_after;   /* 0a4 W at that write: 0 before anything of it holds, 1 when all of it does */
    uint32_t awake;       /* 0a8 W it sleeps 0.1 ms at most: where time is counted in instructions, it then goes slowly */
    uint32_t spare[21];   /* 0ac */

    struct gate_span gate[GATE_LOG]; /* 100 B a ring */
};

#define BENCH (*(volatile struct bench *)(PSRAM + BENCH_AT))
#define PLAY ((volatile int16_t *)(PSRAM + BENCH_AT + 0x10000u)) /* W what the waveform adds to the pad at rest */

#endif
