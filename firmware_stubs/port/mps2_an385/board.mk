# Included by firmware_stubs/Makefile. Gives:
#   board             build/mps2_an385/target.elf     the core on QEMU's mps2-an385
#   board-selftest    build/mps2_an385/selftest.elf   the selftest on it
#   template          build/template/*.o              the empty port compiles
#   selftest-paper    build/selftest/paper            the selftest's own test, on the host

BOARD_CC ?= arm-none-eabi-gcc
BOARD_SIZE ?= arm-none-eabi-size
BOARD := port/mps2_an385
BOARD_OUT := build/mps2_an385
BOARD_FLAGS := -std=c99 -Wall -Wextra -Werror -Wconversion -Wstrict-prototypes -Wmissing-prototypes -mcpu=cortex-m3 \
	-mthumb -Os -g -ffunction-sections -fdata-sections
BOARD_LINK := -nostartfiles --specs=nano.specs --specs=nosys.specs -Wl,--gc-sections -T $(BOARD)/board.ld
BOARD_SOURCES := $(addprefix $(BOARD)/,bench.c clock.c flash.c port.c start.c uart.c watchdog.c)
BOARD_HEADERS := $(wildcard $(BOARD)/*.h) port/port.h $(BOARD)/board.ld $(BOARD)/board.mk
SELFTEST := selftest/selftest.c selftest/selftest.h

.PHONY: board board-selftest template selftest-paper
board: $(BOARD_OUT)/target.elf
board-selftest: $(BOARD_OUT)/selftest.elf
selftest-paper: build/selftest/paper

$(BOARD_OUT)/selftest.elf: $(BOARD_SOURCES) $(BOARD)/selftest_main.c $(SELFTEST) $(BOARD_HEADERS)
	@mkdir -p $(@D)
	$(BOARD_CC) $(BOARD_FLAGS) $(BOARD_LINK) -o $@ $(filter %.c,$^)

build/selftest/paper: selftest/paper.c $(SELFTEST) port/port.h
	@mkdir -p $(@D)
	$(CC) -std=c99 -Wall -Wextra -Werror -Wconversion -O1 -g -fsanitize=address,undefined -fno-sanitize-recover=all \
		-o $@ $(filter %.c,$^)

# Linked with the whole core, so that nothing of the contract is missing; it runs nowhere.
template: build/template/template.elf
