/* A board that exists in memory only, for simulations and tests: flash whose power can go at any write, a gate that
   falls by itself, and time that is whatever it is told. `sims/cnode.py` drives it through cffi, one call for
   everything that has happened; the fuzzer and the power-cut tests drive it in C. */
#ifndef FIELDCTL_SIM_H
#define FIELDCTL_SIM_H

#include "core.h"

#define FC_SIM_FLASH (FC_FLASH_PAGE * FC_FLASH_PAGES)
#define FC_SIM_SENT 32u

enum { FC_SIM_NOTHING, FC_SIM_BYTES, FC_SIM_PAYLOAD, FC_SIM_RETAINED, FC_SIM_CONNECTED, FC_SIM_PRESSED };

struct fc_sim_sent {
    uint64_t at;
    uint16_t size;
    uint8_t data[FC_FRAME_MAX + 2];
};

struct fc_sim_span { /* the carrier was on; `off` is what the one-shot was set to last */
    uint64_t on, off;
};

struct fc_sim {
    struct fc_core core;
    struct fc_port port;
    struct fc_unit unit;
    uint64_t now, next;
    bool on;  /* it has power */
    bool cut; /* the power went at a write; nothing that the core does from then on has any effect */
    uint8_t level;
    bool listens, pad_on;
    bool broken_flash, gate_stuck, gate_lies;
    uint32_t cut_in;  /* the power goes at this write from now (a call, or with cut_words a word); 0: never */
    bool cut_words;   /* counted in words: that word is torn */
    uint8_t cut_when; /* counted in calls: 0 before it, 1 in its middle, 2 after it */
    uint32_t writes, words;
    uint32_t watchdog;
    uint16_t rest_mv, load_mv, kelvin10;
    uint32_t chance; /* of entropy */
    uint8_t nonce[8];
    bool nonce_set, traced;
    uint32_t sent_count;
    struct fc_sim_sent sent[FC_SIM_SENT];
    uint32_t spans_count, spans_room;
    struct fc_sim_span *spans;
    uint8_t flash[FC_SIM_FLASH];
};

struct fc_look { /* what a test or a simulation may see of a core */
    uint32_t boot, used, seen, generation, epoch, version, number, charge_mas;
    uint16_t dropped, lost[FC_LOST_KINDS];
    uint8_t own[16], all_off[16], before[16];
    bool has_keys, has_before, damaged, off, armed, asleep, held, sends, reads_on, listens;
    uint32_t grant_id;
    uint64_t from, until, limit;
    uint16_t period, on, drop_on, drop_off;
    uint8_t level, pending;
    uint16_t noise, threshold;
};

struct fc_sim *fc_sim_new(const uint8_t hardware[8], const uint8_t secret[16], const char *firmware, uint16_t abilities,
                          bool radio, uint8_t log_max, uint32_t chance);
void fc_sim_free(struct fc_sim *sim);

/* Before it is first switched on: keys that it has from the factory bench. */
bool fc_sim_give_keys(struct fc_sim *sim, const uint8_t own[16], const uint8_t all_off[16], uint32_t version);

void fc_sim_power_on(struct fc_sim *sim, uint64_t ticks, uint8_t why);
void fc_sim_power_off(struct fc_sim *sim);

/* Everything up to `ticks`, then what happens there; gives when something may be said next (FC_NEVER: not by itself).
 */
uint64_t fc_sim_step(struct fc_sim *sim, uint64_t ticks, int what, uint8_t *data, size_t size);

/* Samples of the pad, the first at `first`; time goes on to the last of them. */
uint64_t fc_sim_samples(struct fc_sim *sim, const int16_t *samples, size_t count, uint64_t first);

/* Hands out what waits to be sent without waiting for its moment, which is in `due`; gives its size, 0 for nothing. */
size_t fc_sim_pull(struct fc_sim *sim, uint64_t *due);

/* Which requirement the core breaks from now, by its number in the list of `fieldctl certify`; 0: none. False in a
   build that cannot. */
bool fc_sim_break(int number);

/* What the pad feels of the next strike, for benches without samples: steps about the baseline, the first eight of them
   before it begins. */
void fc_sim_trace(struct fc_sim *sim, const int16_t *steps, size_t count, uint16_t begins);

bool fc_sim_strike(struct fc_sim *sim, const uint32_t *features, size_t count, uint64_t ticks);
void fc_sim_look(struct fc_sim *sim, struct fc_look *look);

/* (boot, number) of what waits in the log, oldest first; gives how many. */
uint32_t fc_sim_waiting(struct fc_sim *sim, uint32_t *pairs, uint32_t most);

#endif
