"""CRC-16/MODBUS and the frames of the Modbus documents.

Sources: the check value of "123456789" is the one published for CRC-16/MODBUS (the catalogue of parametrised CRC
algorithms, and the package crcmod gives the same); 02 07 is the example of "MODBUS over serial line" V1.02, appendix B,
from memory; requests and answers are those of "MODBUS application protocol" V1.1b3, sections 6.3 and 6.4, from memory,
with address 17 in front and the checksum behind, computed with crcmod.
"""

import pytest

from collector.bridge.checksum import crc_16_modbus
from collector.bridge.modbus import Answer, Ask
from collector.bridge.splitting import NotRead


def frame(text):
    return bytes.fromhex(text)


def test_the_published_check_value():
    assert crc_16_modbus(b"123456789") == 0x4B37


@pytest.mark.parametrize(
    "text",
    [
        "02 07 41 12", "01 03 00 02 00 01 25 CA", "10 06 02 02 00 03 6A F2", "01 03 00 00 00 0A C5 CD",
        "11 03 00 6B 00 03 76 87", "11 03 06 AE 41 56 52 43 40 49 AD", "11 06 00 01 00 03 9A 9B",
        "11 10 00 01 00 02 04 00 0A 01 02 C6 F0", "11 10 00 01 00 02 12 98", "11 01 00 13 00 25 0E 84",
        "11 83 02 C1 34", "01 04 00 08 00 01 B0 08", "01 04 02 FF FF B8 80", "01 03 02 03 A6 38 CE",
    ],
)  # fmt: skip
def test_the_checksum_of_a_frame_is_its_last_two_bytes_low_one_first(text):
    octets = frame(text)
    assert crc_16_modbus(octets[:-2]).to_bytes(2, "little") == octets[-2:]


HOLDING = Ask(device=17, function=3, address=0x6B, count=3, places=())
INPUT = Ask(device=1, function=4, address=8, count=1, places=())


@pytest.mark.parametrize(("ask", "text"), [(HOLDING, "11 03 00 6B 00 03 76 87"), (INPUT, "01 04 00 08 00 01 B0 08")])
def test_requests_are_those_of_the_document(ask, text):
    assert ask.request() == frame(text)


def test_the_answer_of_the_document_is_read():
    body = frame("11 03 06 02 2B 00 00 00 64")
    octets = body + crc_16_modbus(body).to_bytes(2, "little")
    assert Answer(HOLDING).feed(octets) == [555, 0, 100]
    assert Answer(HOLDING).feed(frame("11 03 06 AE 41 56 52 43 40 49 AD")) == [0xAE41, 0x5652, 0x4340]
    assert Answer(INPUT).feed(frame("01 04 02 FF FF B8 80")) == [0xFFFF]


def test_the_exception_of_the_document_is_told():
    with pytest.raises(NotRead, match=r"device 17 refuses registers 107 to 109: illegal register address \(2\)"):
        Answer(HOLDING).feed(frame("11 83 02 C1 34"))


def test_a_frame_with_a_wrong_checksum_or_of_another_device_is_no_answer():
    assert Answer(HOLDING).feed(frame("11 03 06 AE 41 56 52 43 40 49 AE")) is None
    assert Answer(HOLDING).feed(frame("01 03 02 03 A6 38 CE")) is None
