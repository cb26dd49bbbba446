"""Which bus of an RP2040 or RP2350 a pin belongs to (their datasheets' pin functions).

The host refuses pins that no bus has together (host/emberbed/device_file/boards.py).
"""


def spi_number(sck):
    """Return the SPI that a clock pin belongs to: pins 0 to 7, 16 to 23 one, the others two."""
    return sck >> 3 & 1


def uart_number(tx):
    """Return the UART that a pin belongs to: 0 to 3, 12 to 19 and 28 one, 4 to 11, 20 to 27 two."""
    return (tx + 4) >> 3 & 1


def i2c_number(sda):
    """Return the I2C that a data pin belongs to: every other pair."""
    return sda >> 1 & 1
