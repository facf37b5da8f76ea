"""Which pin does what on ESP32 boards; docs/board.md shows it as a table."""

# How the analogue inputs are wired: spi, multiplexer or direct.
WIRING = "spi"

# Pins that stay low and quiet while this chip starts.
LEFT_PULSE = 25
RIGHT_PULSE = 26
# High closes the contactor. With a pull-down of its own: until the program runs it floats.
CONTACTOR = 22

# Contacts to ground, closed: low. The stop is closed while nobody presses it. All have
# pull-ups, which pins 34 to 39 lack. Modules with extra memory need pins 16 and 17 for it.
LEFT_SWITCH = 16
RIGHT_SWITCH = 17
LEFT_SOLE = 21
RIGHT_SOLE = 27
ARM = 4
STOP = 13

# The inputs of the converter or of the multiplexer, 0 to 7; one is free.
LEFT_THIGH = 0
LEFT_SHANK = 1
RIGHT_THIGH = 2
RIGHT_SHANK = 3
STICK = 4
BATTERY = 5
SUPPLY = 6

SPI = 2
SPI_CLOCK = 18
SPI_TO_CONVERTER = 23
SPI_FROM_CONVERTER = 19
SPI_SELECT = 5
# The converter's highest clock at 3.3 V.
SPI_HZ = 1000000

MULTIPLEXED = 34
# Low bit first.
MULTIPLEXER_SELECT = (18, 19, 23)

# In the order of the inputs above. The last one is of the chip's second converter, which reads
# nothing while the radio runs; nothing here starts it.
DIRECT = (36, 39, 34, 35, 32, 33, 14)

# What the full scale of the converter is at the battery's and the supply's dividers.
BATTERY_FULL_MV = 30000
SUPPLY_FULL_MV = 6600

# The most that this chip's watchdog is asked to wait.
WATCHDOG_MOST_MS = 8388
# Causes of a reset that a person did not want (machine.reset_cause): a crash of MicroPython
# itself looks like a hard reset here.
HUNG_CAUSES = (2, 3)
