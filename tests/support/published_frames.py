"""Published check values of the wire's two codes, for both implementations of a frame."""

# CRC-32 (IEEE 802.3) of "123456789": the published catalogue of CRC algorithms.
CHECK_TEXT = b"123456789"
CHECK_CRC = 0xCBF43926

# Examples of the COBS article's definition (Cheshire & Baker, IEEE/ACM Trans. Networking 7(2),
# 1999) as they are commonly published: plain bytes, stuffed bytes, in hexadecimal.
COBS_ONE_BLOCK = [
    ("", "01"),
    ("00", "0101"),
    ("0000", "010101"),
    ("001100", "01021101"),
    ("11220033", "0311220233"),
    ("11000000", "0211010101"),
    (bytes(range(1, 255)).hex(), "ff" + bytes(range(1, 255)).hex()),
]
COBS_TWO_BLOCKS = [
    (bytes(range(0, 255)).hex(), "01ff" + bytes(range(1, 255)).hex()),
    (bytes(range(1, 256)).hex(), "ff" + bytes(range(1, 255)).hex() + "02ff"),
]
