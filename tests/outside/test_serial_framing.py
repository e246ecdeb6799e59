"""Check values of CRC and byte stuffing against published ones, through our own frames."""

from __future__ import annotations

from binascii import crc_hqx

import pytest
from cobs import cobs

from drivers.frames import frame

# S. Cheshire and M. Baker, Consistent Overhead Byte Stuffing, IEEE/ACM Trans. Netw. 7 (1999), and the usual public table of
# examples made from it (from memory, recomputed); the delimiter 00 that the table shows is added by our `frame`.
RAMP = bytes(range(1, 255))
COBS = [
    ("00", "01 01"),
    ("00 00", "01 01 01"),
    ("11 22 00 33", "03 11 22 02 33"),
    ("11 22 33 44", "05 11 22 33 44"),
    ("", "01"),
    (RAMP.hex(), "FF" + RAMP.hex()),
    (RAMP.hex() + "FF", "FF" + RAMP.hex() + "02 FF"),
    (RAMP[2:].hex() + "FF 00 01", "FE" + RAMP[2:].hex() + "FF 02 01"),
]


@pytest.mark.parametrize(("raw", "stuffed"), COBS)
def test_the_library_stuffs_as_published(raw: str, stuffed: str) -> None:
    assert cobs.encode(bytes.fromhex(raw)) == bytes.fromhex(stuffed)
    assert cobs.decode(bytes.fromhex(stuffed)) == bytes.fromhex(raw)


def test_the_check_value_of_our_crc() -> None:
    """CRC-16/IBM-3740 over '123456789' is 0x29B1: catalogue of parametrised CRC algorithms (RevEng, G. Cook)."""
    assert crc_hqx(b"123456789", 0xFFFF) == 0x29B1


def test_a_frame_is_the_body_with_that_crc_low_byte_first_stuffed_and_ended() -> None:
    assert frame(b"123456789") == cobs.encode(b"123456789\xb1\x29") + b"\0"


@pytest.mark.parametrize("body", [b"S", b"S\0\0", bytes(range(250)), b"\0" * 252])
def test_the_crc_agrees_with_a_slow_twin(body: bytes) -> None:
    """Polynomial 0x1021, start 0xFFFF, most significant bit first, bit by bit (the catalogue's parameters)."""
    register = 0xFFFF
    for byte in body:
        register ^= byte << 8
        for _ in range(8):
            register = (register << 1 ^ (0x1021 if register & 0x8000 else 0)) & 0xFFFF
    assert cobs.decode(frame(body)[:-1]) == body + register.to_bytes(2, "little")


def test_the_longest_line_rate_a_baud_allows() -> None:
    """115200 baud 8N1 is 11520 byte a second, 480 lines of 24 bytes (start bit, 8 data bits, stop bit): trade notes, 6."""
    from drivers.codec import Reading
    from drivers.text import Column, TextFormat, encode_line

    layout = TextFormat(columns=(Column("time", "us"), Column("torque", "N.m"), Column("angle", "deg")))
    line = encode_line(layout, Reading(-12.34, 123.4, 12_345_678), digits=2)
    assert len(line) == 24
    assert 115200 / 10 / len(line) == 480


def test_the_check_sum_of_a_text_line() -> None:
    """Exclusive-or of what stands between '$' and '*': a common public NMEA 0183 example (from memory, recomputed)."""
    from drivers.text import check_of

    assert check_of(b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,") == b"47"
