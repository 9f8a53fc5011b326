/* Switches for tests only: each makes the core break one requirement of `fieldctl certify`, and nothing else.
   What it does wrong stands beside the requirement in fieldctl/certify (`breaks`). A build for use has none.
   With BREAKS_CHOSEN a test chooses at run time which one (its number in that list), so that one build serves for all.
   Made by breaks.py. */
#ifndef FIELDCTL_BREAKS_H
#define FIELDCTL_BREAKS_H

#ifdef BREAKS_CHOSEN
extern int fc_breaks;
#define BREAK_FRAMING_JUNK (fc_breaks == 1)
#define BREAK_FRAMING_HALF (fc_breaks == 2)
#define BREAK_FRAMING_ZEROS (fc_breaks == 3)
#define BREAK_FRAMING_LONG (fc_breaks == 4)
#define BREAK_FRAMING_LONGEST (fc_breaks == 5)
#define BREAK_FRAMING_TWO (fc_breaks == 6)
#define BREAK_FRAMING_SUM (fc_breaks == 7)
#define BREAK_FRAMING_ANSWER (fc_breaks == 8)
#define BREAK_BUS_SILENT (fc_breaks == 9)
#define BREAK_BUS_ADDRESS (fc_breaks == 10)
#define BREAK_LOSSES_COUNTED (fc_breaks == 11)
#define BREAK_SEAL_TAG (fc_breaks == 12)
#define BREAK_SEAL_BODY (fc_breaks == 13)
#define BREAK_SEAL_COUNTER (fc_breaks == 14)
#define BREAK_SEAL_DIRECTION (fc_breaks == 15)
#define BREAK_SEAL_TARGET (fc_breaks == 16)
#define BREAK_SEAL_ALLOFF_KEY (fc_breaks == 17)
#define BREAK_SEAL_ANSWERS (fc_breaks == 18)
#define BREAK_SEAL_RISING (fc_breaks == 19)
#define BREAK_REPLAY_CACHED (fc_breaks == 20)
#define BREAK_REPLAY_OLDER (fc_breaks == 21)
#define BREAK_REPLAY_OVERTAKEN (fc_breaks == 22)
#define BREAK_REPLAY_WINDOW (fc_breaks == 23)
#define BREAK_COUNTERS_ASKED (fc_breaks == 24)
#define BREAK_COUNTERS_HIGH (fc_breaks == 25)
#define BREAK_COUNTERS_FORM (fc_breaks == 26)
#define BREAK_COUNTERS_KEPT (fc_breaks == 27)
#define BREAK_GREETING (fc_breaks == 28)
#define BREAK_CONTRACT_VERSION (fc_breaks == 29)
#define BREAK_ABILITIES_TRUE (fc_breaks == 30)
#define BREAK_REPORT (fc_breaks == 31)
#define BREAK_TURNAROUND (fc_breaks == 32)
#define BREAK_UNKNOWN_KEYS (fc_breaks == 33)
#define BREAK_UNKNOWN_KIND (fc_breaks == 34)
#define BREAK_ILL_FORMED (fc_breaks == 35)
#define BREAK_GENERATION (fc_breaks == 36)
#define BREAK_EPOCH_OLDER (fc_breaks == 37)
#define BREAK_OTHER_BOOT (fc_breaks == 38)
#define BREAK_LATE (fc_breaks == 39)
#define BREAK_EXPIRY (fc_breaks == 40)
#define BREAK_EMPTY (fc_breaks == 41)
#define BREAK_LEASE_TOO_LONG (fc_breaks == 42)
#define BREAK_LIMIT (fc_breaks == 43)
#define BREAK_LIMIT_RENEW (fc_breaks == 44)
#define BREAK_KEYING_REFUSED (fc_breaks == 45)
#define BREAK_KEYING_LEGAL (fc_breaks == 46)
#define BREAK_GRANT_BEGINS (fc_breaks == 47)
#define BREAK_GRANT_RUNS_OUT (fc_breaks == 48)
#define BREAK_GRANT_RENEWED (fc_breaks == 49)
#define BREAK_GRANT_DROPPING_OUT (fc_breaks == 50)
#define BREAK_RENEW_STARTS_NOTHING (fc_breaks == 51)
#define BREAK_QUIET (fc_breaks == 52)
#define BREAK_QUIET_TICK (fc_breaks == 53)
#define BREAK_QUIET_OTHER (fc_breaks == 54)
#define BREAK_ALLOFF_ANSWERED (fc_breaks == 55)
#define BREAK_ALLOFF_EVERYBODY (fc_breaks == 56)
#define BREAK_ALLOFF_FORGED (fc_breaks == 57)
#define BREAK_ALLOFF_RECORDED (fc_breaks == 58)
#define BREAK_ALLOFF_RELEASED (fc_breaks == 59)
#define BREAK_RETAINED (fc_breaks == 60)
#define BREAK_GATE_READ_BACK (fc_breaks == 61)
#define BREAK_GATE_INSIDE_GRANT (fc_breaks == 62)
#define BREAK_KEYING_MEASURED (fc_breaks == 63)
#define BREAK_BATTERY (fc_breaks == 64)
#define BREAK_CLOCK_MONOTONIC (fc_breaks == 65)
#define BREAK_CLOCK_DRIFT (fc_breaks == 66)
#define BREAK_SURVIVES_JUNK (fc_breaks == 67)
#define BREAK_SLEEP (fc_breaks == 68)
#define BREAK_REBOOT_NAMED (fc_breaks == 69)
#define BREAK_REBOOT_QUIET (fc_breaks == 70)
#define BREAK_REBOOT_ORDER_IN_FLIGHT (fc_breaks == 71)
#define BREAK_GENERATION_KEPT (fc_breaks == 72)
#define BREAK_ALLOFF_KEPT (fc_breaks == 73)
#define BREAK_ARMING (fc_breaks == 74)
#define BREAK_STRIKE_NUMBERED (fc_breaks == 75)
#define BREAK_STRIKE_STAMPED (fc_breaks == 76)
#define BREAK_STRIKE_RESENT (fc_breaks == 77)
#define BREAK_STRIKE_ACKNOWLEDGED_SINGLY (fc_breaks == 78)
#define BREAK_STRIKE_PUSHED (fc_breaks == 79)
#define BREAK_STRIKE_KEPT (fc_breaks == 80)
#define BREAK_STRIKE_CUT (fc_breaks == 81)
#define BREAK_STRIKE_FULL (fc_breaks == 82)
#define BREAK_STRIKE_FEATURES (fc_breaks == 83)
#define BREAK_STRIKE_TRACED (fc_breaks == 84)
#define BREAK_KEYS_ROTATED (fc_breaks == 85)
#define BREAK_KEYS_ROTATED_AGAIN (fc_breaks == 86)
#define BREAK_HAIL_ANSWERED (fc_breaks == 87)
#define BREAK_KEYS_NEED_PRESS (fc_breaks == 88)
#define BREAK_LEAVE (fc_breaks == 89)
#else
#ifndef BREAK_FRAMING_JUNK
#define BREAK_FRAMING_JUNK 0
#endif
#ifndef BREAK_FRAMING_HALF
#define BREAK_FRAMING_HALF 0
#endif
#ifndef BREAK_FRAMING_ZEROS
#define BREAK_FRAMING_ZEROS 0
#endif
#ifndef BREAK_FRAMING_LONG
#define BREAK_FRAMING_LONG 0
#endif
#ifndef BREAK_FRAMING_LONGEST
#define BREAK_FRAMING_LONGEST 0
#endif
#ifndef BREAK_FRAMING_TWO
#define BREAK_FRAMING_TWO 0
#endif
#ifndef BREAK_FRAMING_SUM
#define BREAK_FRAMING_SUM 0
#endif
#ifndef BREAK_FRAMING_ANSWER
#define BREAK_FRAMING_ANSWER 0
#endif
#ifndef BREAK_BUS_SILENT
#define BREAK_BUS_SILENT 0
#endif
#ifndef BREAK_BUS_ADDRESS
#define BREAK_BUS_ADDRESS 0
#endif
#ifndef BREAK_LOSSES_COUNTED
#define BREAK_LOSSES_COUNTED 0
#endif
#ifndef BREAK_SEAL_TAG
#define BREAK_SEAL_TAG 0
#endif
#ifndef BREAK_SEAL_BODY
#define BREAK_SEAL_BODY 0
#endif
#ifndef BREAK_SEAL_COUNTER
#define BREAK_SEAL_COUNTER 0
#endif
#ifndef BREAK_SEAL_DIRECTION
#define BREAK_SEAL_DIRECTION 0
#endif
#ifndef BREAK_SEAL_TARGET
#define BREAK_SEAL_TARGET 0
#endif
#ifndef BREAK_SEAL_ALLOFF_KEY
#define BREAK_SEAL_ALLOFF_KEY 0
#endif
#ifndef BREAK_SEAL_ANSWERS
#define BREAK_SEAL_ANSWERS 0
#endif
#ifndef BREAK_SEAL_RISING
#define BREAK_SEAL_RISING 0
#endif
#ifndef BREAK_REPLAY_CACHED
#define BREAK_REPLAY_CACHED 0
#endif
#ifndef BREAK_REPLAY_OLDER
#define BREAK_REPLAY_OLDER 0
#endif
#ifndef BREAK_REPLAY_OVERTAKEN
#define BREAK_REPLAY_OVERTAKEN 0
#endif
#ifndef BREAK_REPLAY_WINDOW
#define BREAK_REPLAY_WINDOW 0
#endif
#ifndef BREAK_COUNTERS_ASKED
#define BREAK_COUNTERS_ASKED 0
#endif
#ifndef BREAK_COUNTERS_HIGH
#define BREAK_COUNTERS_HIGH 0
#endif
#ifndef BREAK_COUNTERS_FORM
#define BREAK_COUNTERS_FORM 0
#endif
#ifndef BREAK_COUNTERS_KEPT
#define BREAK_COUNTERS_KEPT 0
#endif
#ifndef BREAK_GREETING
#define BREAK_GREETING 0
#endif
#ifndef BREAK_CONTRACT_VERSION
#define BREAK_CONTRACT_VERSION 0
#endif
#ifndef BREAK_ABILITIES_TRUE
#define BREAK_ABILITIES_TRUE 0
#endif
#ifndef BREAK_REPORT
#define BREAK_REPORT 0
#endif
#ifndef BREAK_TURNAROUND
#define BREAK_TURNAROUND 0
#endif
#ifndef BREAK_UNKNOWN_KEYS
#define BREAK_UNKNOWN_KEYS 0
#endif
#ifndef BREAK_UNKNOWN_KIND
#define BREAK_UNKNOWN_KIND 0
#endif
#ifndef BREAK_ILL_FORMED
#define BREAK_ILL_FORMED 0
#endif
#ifndef BREAK_GENERATION
#define BREAK_GENERATION 0
#endif
#ifndef BREAK_EPOCH_OLDER
#define BREAK_EPOCH_OLDER 0
#endif
#ifndef BREAK_OTHER_BOOT
#define BREAK_OTHER_BOOT 0
#endif
#ifndef BREAK_LATE
#define BREAK_LATE 0
#endif
#ifndef BREAK_EXPIRY
#define BREAK_EXPIRY 0
#endif
#ifndef BREAK_EMPTY
#define BREAK_EMPTY 0
#endif
#ifndef BREAK_LEASE_TOO_LONG
#define BREAK_LEASE_TOO_LONG 0
#endif
#ifndef BREAK_LIMIT
#define BREAK_LIMIT 0
#endif
#ifndef BREAK_LIMIT_RENEW
#define BREAK_LIMIT_RENEW 0
#endif
#ifndef BREAK_KEYING_REFUSED
#define BREAK_KEYING_REFUSED 0
#endif
#ifndef BREAK_KEYING_LEGAL
#define BREAK_KEYING_LEGAL 0
#endif
#ifndef BREAK_GRANT_BEGINS
#define BREAK_GRANT_BEGINS 0
#endif
#ifndef BREAK_GRANT_RUNS_OUT
#define BREAK_GRANT_RUNS_OUT 0
#endif
#ifndef BREAK_GRANT_RENEWED
#define BREAK_GRANT_RENEWED 0
#endif
#ifndef BREAK_GRANT_DROPPING_OUT
#define BREAK_GRANT_DROPPING_OUT 0
#endif
#ifndef BREAK_RENEW_STARTS_NOTHING
#define BREAK_RENEW_STARTS_NOTHING 0
#endif
#ifndef BREAK_QUIET
#define BREAK_QUIET 0
#endif
#ifndef BREAK_QUIET_TICK
#define BREAK_QUIET_TICK 0
#endif
#ifndef BREAK_QUIET_OTHER
#define BREAK_QUIET_OTHER 0
#endif
#ifndef BREAK_ALLOFF_ANSWERED
#define BREAK_ALLOFF_ANSWERED 0
#endif
#ifndef BREAK_ALLOFF_EVERYBODY
#define BREAK_ALLOFF_EVERYBODY 0
#endif
#ifndef BREAK_ALLOFF_FORGED
#define BREAK_ALLOFF_FORGED 0
#endif
#ifndef BREAK_ALLOFF_RECORDED
#define BREAK_ALLOFF_RECORDED 0
#endif
#ifndef BREAK_ALLOFF_RELEASED
#define BREAK_ALLOFF_RELEASED 0
#endif
#ifndef BREAK_RETAINED
#define BREAK_RETAINED 0
#endif
#ifndef BREAK_GATE_READ_BACK
#define BREAK_GATE_READ_BACK 0
#endif
#ifndef BREAK_GATE_INSIDE_GRANT
#define BREAK_GATE_INSIDE_GRANT 0
#endif
#ifndef BREAK_KEYING_MEASURED
#define BREAK_KEYING_MEASURED 0
#endif
#ifndef BREAK_BATTERY
#define BREAK_BATTERY 0
#endif
#ifndef BREAK_CLOCK_MONOTONIC
#define BREAK_CLOCK_MONOTONIC 0
#endif
#ifndef BREAK_CLOCK_DRIFT
#define BREAK_CLOCK_DRIFT 0
#endif
#ifndef BREAK_SURVIVES_JUNK
#define BREAK_SURVIVES_JUNK 0
#endif
#ifndef BREAK_SLEEP
#define BREAK_SLEEP 0
#endif
#ifndef BREAK_REBOOT_NAMED
#define BREAK_REBOOT_NAMED 0
#endif
#ifndef BREAK_REBOOT_QUIET
#define BREAK_REBOOT_QUIET 0
#endif
#ifndef BREAK_REBOOT_ORDER_IN_FLIGHT
#define BREAK_REBOOT_ORDER_IN_FLIGHT 0
#endif
#ifndef BREAK_GENERATION_KEPT
#define BREAK_GENERATION_KEPT 0
#endif
#ifndef BREAK_ALLOFF_KEPT
#define BREAK_ALLOFF_KEPT 0
#endif
#ifndef BREAK_ARMING
#define BREAK_ARMING 0
#endif
#ifndef BREAK_STRIKE_NUMBERED
#define BREAK_STRIKE_NUMBERED 0
#endif
#ifndef BREAK_STRIKE_STAMPED
#define BREAK_STRIKE_STAMPED 0
#endif
#ifndef BREAK_STRIKE_RESENT
#define BREAK_STRIKE_RESENT 0
#endif
#ifndef BREAK_STRIKE_ACKNOWLEDGED_SINGLY
#define BREAK_STRIKE_ACKNOWLEDGED_SINGLY 0
#endif
#ifndef BREAK_STRIKE_PUSHED
#define BREAK_STRIKE_PUSHED 0
#endif
#ifndef BREAK_STRIKE_KEPT
#define BREAK_STRIKE_KEPT 0
#endif
#ifndef BREAK_STRIKE_CUT
#define BREAK_STRIKE_CUT 0
#endif
#ifndef BREAK_STRIKE_FULL
#define BREAK_STRIKE_FULL 0
#endif
#ifndef BREAK_STRIKE_FEATURES
#define BREAK_STRIKE_FEATURES 0
#endif
#ifndef BREAK_STRIKE_TRACED
#define BREAK_STRIKE_TRACED 0
#endif
#ifndef BREAK_KEYS_ROTATED
#define BREAK_KEYS_ROTATED 0
#endif
#ifndef BREAK_KEYS_ROTATED_AGAIN
#define BREAK_KEYS_ROTATED_AGAIN 0
#endif
#ifndef BREAK_HAIL_ANSWERED
#define BREAK_HAIL_ANSWERED 0
#endif
#ifndef BREAK_KEYS_NEED_PRESS
#define BREAK_KEYS_NEED_PRESS 0
#endif
#ifndef BREAK_LEAVE
#define BREAK_LEAVE 0
#endif
#endif

#endif
