# The emulated board, the empty port and the selftest; read after ../../Makefile, whose names it uses.
#
#   board            $(B)/mps2_an385/target.elf      the core on QEMU's mps2-an385
#   board-selftest   $(B)/mps2_an385/selftest.elf    the selftest on it
#   board-vectors    $(B)/mps2_an385/vectors.elf     the core on it, answering the shared vectors over the UART
#   template         $(B)/template/template.elf      the empty port, linked with the whole core; it runs nowhere
#   selftest-posix   $(B)/selftest/posix             the selftest on this machine, in real time
#   selftest-paper   $(B)/selftest/paper             the selftest on a board on paper, for its own test
ifndef BOARD_MK
BOARD_MK := 1

BOARD := $(HERE)port/mps2_an385
BOARD_OUT := $(B)/mps2_an385
BOARD_LINK := -mcpu=cortex-m3 -mthumb -nostartfiles --specs=nano.specs --specs=nosys.specs -Wl,--gc-sections \
	-Wl,--fatal-warnings
BOARD_OBJECTS := $(addprefix $(BOARD_OUT)/,bench.o clock.o flash.o port.o start.o uart.o watchdog.o)
BOARD_HEADERS := $(wildcard $(BOARD)/*.h $(HERE)port/*.h $(HERE)core/*.h $(HERE)selftest/*.h)

.PHONY: board board-selftest board-vectors template selftest-posix selftest-paper
board: $(BOARD_OUT)/target.elf
board-selftest: $(BOARD_OUT)/selftest.elf
board-vectors: $(BOARD_OUT)/vectors.elf
template: $(B)/template/template.elf
selftest-posix: $(B)/selftest/posix
selftest-paper: $(B)/selftest/paper

$(BOARD_OUT)/%.o: $(BOARD)/%.c $(BOARD_HEADERS)
	@mkdir -p $(@D)
	$(ARM)gcc $(WARN) $(ARM_FLAGS) -g -c $< -o $@

$(BOARD_OUT)/selftest.o: $(HERE)selftest/selftest.c $(BOARD_HEADERS)
	@mkdir -p $(@D)
	$(ARM)gcc $(WARN) $(ARM_FLAGS) -g -c $< -o $@

$(BOARD_OUT)/target.elf: $(BOARD_OUT)/target.o $(BOARD_OBJECTS) $(B)/arm/libfieldctl.a $(BOARD)/board.ld
	$(ARM)gcc $(BOARD_LINK) -T $(BOARD)/board.ld -Wl,-Map=$@.map -o $@ $(filter %.o %.a,$^)

$(BOARD_OUT)/selftest.elf: $(BOARD_OUT)/selftest_main.o $(BOARD_OUT)/selftest.o $(BOARD_OBJECTS) $(BOARD)/board.ld
	$(ARM)gcc $(BOARD_LINK) -T $(BOARD)/board.ld -o $@ $(filter %.o,$^)

$(BOARD_OUT)/sim.o: $(HERE)port/sim/sim.c $(HERE)port/sim/sim.h $(BOARD_HEADERS)
	@mkdir -p $(@D)
	$(ARM)gcc $(WARN) $(ARM_FLAGS) $(INC) -c $< -o $@
$(BOARD_OUT)/vectors_main.o: $(HERE)port/sim/sim.h
$(BOARD_OUT)/vectors_main.o: WARN += $(INC)
$(BOARD_OUT)/vectors.elf: $(BOARD_OUT)/vectors_main.o $(BOARD_OUT)/sim.o $(BOARD_OBJECTS) $(B)/arm/libfieldctl.a $(BOARD)/board.ld
	$(ARM)gcc $(BOARD_LINK) -T $(BOARD)/board.ld -o $@ $(filter %.o %.a,$^)

$(B)/template/template.o: $(HERE)port/template/template.c $(wildcard $(HERE)port/template/*.h) $(BOARD_HEADERS)
	@mkdir -p $(@D)
	$(ARM)gcc $(WARN) $(ARM_FLAGS) -c $< -o $@

$(B)/template/template.elf: $(B)/template/template.o $(B)/arm/libfieldctl.a
	$(ARM)gcc $(BOARD_LINK) -Wl,-emain -o $@ $^

$(B)/selftest/paper: $(HERE)selftest/paper.c $(HERE)selftest/selftest.c $(BOARD_HEADERS)
	@mkdir -p $(@D)
	$(CC) $(WARN) $(SAN_FLAGS) -o $@ $(filter %.c,$^)

$(B)/selftest/posix: $(HERE)selftest/posix_main.c $(HERE)selftest/selftest.c $(HERE)port/sim/sim.c $(B)/host/libfieldctl.a \
		$(BOARD_HEADERS)
	@mkdir -p $(@D)
	$(CC) -std=c99 -Wall -Wextra -Werror -O1 -g $(INC) -I$(HERE)port/sim -I$(HERE)selftest -o $@ $(filter %.c %.a,$^)

endif
