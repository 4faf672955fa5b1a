"""Microcontrollers on this machine: the header compiled for them, and run by an emulator."""

import shutil
import subprocess
from dataclasses import dataclass

import pytest

WARNINGS = ["-Wall", "-Wextra", "-Wconversion", "-Wdouble-promotion", "-Werror"]

AVR_MAIN = """
#include "joint.h"
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

static void send(char letter)
{
    while (!(UCSR0A & (1 << UDRE0))) {
    }
    UDR0 = (uint8_t)letter;
}

int main(void)
{
    const int code = legloop_self_test();

    UCSR0B = 1 << TXEN0;
    send('<');
    send((char)('0' + code / 10));
    send((char)('0' + code % 10));
    send('>');
    send('\\n'); /* the emulator prints whole lines */
    while (!(UCSR0A & (1 << TXC0))) {
    }
    cli();
    sleep_enable();
    sleep_cpu(); /* asleep without interrupts: the emulator ends */
    return 0;
}
"""

ARM_MAIN = """
#include "joint.h"

void start(void);
extern unsigned long stack_top[];

static void leave(int code) /* semihosting, SYS_EXIT_EXTENDED: the code becomes that of the emulator */
{
    const unsigned long block[2] = {0x20026, (unsigned long)code};
    register unsigned long operation __asm__("r0") = 0x20;
    register const unsigned long *argument __asm__("r1") = block;

    __asm__ volatile("bkpt 0xab" : : "r"(operation), "r"(argument) : "memory");
}

void start(void)
{
#ifdef __ARM_FP
    *(volatile unsigned long *)0xE000ED88 |= 0xFUL << 20; /* switch the floating-point unit on */
    __asm__ volatile("dsb\\nisb");
#endif
    leave(legloop_self_test());
    for (;;) {
    }
}

__attribute__((section(".vectors"), used)) static void *const vectors[2] = {stack_top, (void *)start};
"""

ARM_MEMORY = """
MEMORY { rom : ORIGIN = 0, LENGTH = 256K  ram : ORIGIN = 0x20000000, LENGTH = 64K }
SECTIONS {
  .text : { KEEP(*(.vectors)) *(.text*) *(.rodata*) *(.ARM.ex*) } > rom
  .data : { *(.data*) *(.bss*) *(COMMON) } > ram
  stack_top = ORIGIN(ram) + LENGTH(ram);
}
"""


@dataclass(frozen=True)
class Board:
    """A processor, the compiler for it, and the emulator that runs it."""

    name: str
    compiler: str
    flags: tuple[str, ...]
    emulator: tuple[str, ...]

    def self_test(self, folder, text, level="-Os"):
        """What the self-test of a header answers there. Skips where a tool is missing, and says which."""
        missing = [tool for tool in (self.compiler, self.emulator[0]) if shutil.which(tool) is None]
        if missing:
            pytest.skip(f"no {' and no '.join(missing)} on this machine: the C header was not run on {self.name}")
        avr = self.compiler == "avr-gcc"
        (folder / "joint.h").write_text(text)
        (folder / "memory.ld").write_text(ARM_MEMORY)
        (folder / "main.c").write_text(AVR_MAIN if avr else ARM_MAIN)
        command = [self.compiler, "-std=gnu99", *WARNINGS, level, *self.flags, "main.c", "-o", "board.elf", "-lm"]
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        run = subprocess.run(
            [*self.emulator, "board.elf"],
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
            stdin=subprocess.DEVNULL,
            timeout=300,
        )
        if not avr:
            return run.returncode
        told = run.stdout + run.stderr
        return int(told[told.index("<") + 1 : told.index(">")])


_BARE = ("-mthumb", "-nostartfiles", "-T", "memory.ld", "--specs=nosys.specs")
_QEMU = ("-nographic", "-monitor", "none", "-serial", "none", "-semihosting-config", "enable=on,target=native")

AVR = Board(
    "an 8-bit AVR",
    "avr-gcc",
    ("-mmcu=atmega328p",),
    ("simavr", "-m", "atmega328p", "-f", "16000000"),
)
M3 = Board(
    "a Cortex-M3, which has no floating-point unit",
    "arm-none-eabi-gcc",
    ("-mcpu=cortex-m3", "-mfloat-abi=soft", *_BARE),
    ("qemu-system-arm", "-M", "lm3s6965evb", *_QEMU, "-kernel"),
)
M4F = Board(
    "a Cortex-M4F, whose unit computes in float",
    "arm-none-eabi-gcc",
    ("-mcpu=cortex-m4", "-mfpu=fpv4-sp-d16", "-mfloat-abi=hard", *_BARE),
    ("qemu-system-arm", "-M", "mps2-an386", *_QEMU, "-kernel"),
)
