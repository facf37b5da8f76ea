"""Which pin does what on RP2040 and RP2350 boards; docs/board.md shows it as a table."""

# How the analogue inputs are wired: spi, multiplexer or direct.
WIRING = "spi"

# Each pulse has a slice of its own, of the upper half: MicroPython's soft reset leaves those
# running, and a pulse that goes on at neutral is better than a level that freezes.
LEFT_PULSE = 10
RIGHT_PULSE = 12
# High closes the contactor. With a pull-down of its own: until the program runs it floats.
CONTACTOR = 22

# Contacts to ground, closed: low. The stop is closed while nobody presses it.
LEFT_SWITCH = 2
RIGHT_SWITCH = 3
LEFT_SOLE = 4
RIGHT_SOLE = 5
ARM = 6
STOP = 7

# The inputs of the converter or of the multiplexer, 0 to 7; one is free.
LEFT_THIGH = 0
LEFT_SHANK = 1
RIGHT_THIGH = 2
RIGHT_SHANK = 3
STICK = 4
BATTERY = 5
SUPPLY = 6

SPI = 0
SPI_CLOCK = 18
SPI_TO_CONVERTER = 19
SPI_FROM_CONVERTER = 16
SPI_SELECT = 17
# The converter's highest clock at 3.3 V.
SPI_HZ = 1000000

MULTIPLEXED = 26
# Low bit first.
MULTIPLEXER_SELECT = (18, 19, 20)

# In the order of the inputs above. Only the larger chip of this family has so many.
DIRECT = (40, 41, 42, 43, 44, 45, 46)

# What the full scale of the converter is at the battery's and the supply's dividers.
BATTERY_FULL_MV = 30000
SUPPLY_FULL_MV = 6600

# The most that this chip's watchdog can wait.
WATCHDOG_MOST_MS = 8388
# Causes of a reset that a person did not want (machine.reset_cause).
HUNG_CAUSES = (3,)
