"""Takes written byte by byte: status bytes, running status, delta times, packets (MIDI 1.0 and RP-001)."""

import unittest

from concert import Concert, off, on, smf

GEAR = """
[outputs.piano]
virtual = true
pass_sysex = true
pass_clock = true
[sounds.grand]
output = "piano"
channel = 1
"""
SONG = 'title = "One"\nkey = "C"\n[[zone]]\nsound = "grand"\n'
END = bytes.fromhex("00FF2F00")


class Bytes(unittest.TestCase):
    maxDiff = None

    def setUp(self):
        self.concert = Concert(GEAR, {"one": SONG}, ['map = "one.toml"'])
        self.addCleanup(self.concert.__exit__)

    def piano(self, data):
        return self.concert.replay(data)["piano"]

    def test_running_status(self):
        # MIDI 1.0 Detailed Specification 4.2.1, p. A-1: 90 3C 27 40 2B 43 25 is three note-ons,
        # 90 3C 27 3C 00 3E 29 is C on, C off, D on. In a file running status crosses delta times (RP-001).
        out = self.piano(smf(bytes.fromhex("00903C27 00402B 004325 603C00 004000 004300") + END))
        self.assertEqual(
            out.messages,
            [(0, on(60, 0x27)), (0, on(64, 0x2B)), (0, on(67, 0x25)), (96, off(60)), (96, off(64)), (96, off(67))],
        )
        out = self.piano(smf(bytes.fromhex("00903C27 053C00 053E29 053E00") + END))
        self.assertEqual(out.messages, [(0, on(60, 0x27)), (5, off(60)), (10, on(62, 0x29)), (15, off(62))])

    def test_the_example_of_the_file_format(self):
        # RP-001, the format 0 example: three channels of one keyboard; its program changes are not passed on
        # (R7). Note-offs have velocity 64.
        data = bytes.fromhex(
            "4D546864000000060000000100604D54726B0000003B"
            "00FF58040402180800FF510307A12000C00500C12E00C24600923060003C606091434060904C20"
            "8140823040003C400081434000804C4000FF2F00"
        )
        self.assertEqual(len(data), 81)
        out = self.piano(data)
        self.assertEqual(
            out.messages,
            [
                (0, on(48, 96)), (0, on(60, 96)), (96, on(67, 64)), (192, on(76, 32)),
                (384, off(48)), (384, off(60)), (384, off(67)), (384, off(76)),
            ],
        )
        self.assertEqual((out.division, out.end), (b"\x00\x60", 384))
        self.assertEqual([m.type for _, m in out.meta if m.type in ("time_signature", "set_tempo")], ["time_signature", "set_tempo"])

    def test_delta_times(self):
        # RP-001, table of variable-length quantities.
        table = {
            0x00: "00", 0x40: "40", 0x7F: "7F", 0x80: "8100", 0x2000: "C000", 0x3FFF: "FF7F", 0x4000: "818000",
            0x100000: "C08000", 0x1FFFFF: "FFFF7F", 0x200000: "81808000", 0x8000000: "C0808000", 0xFFFFFFF: "FFFFFF7F",
        }
        for ticks, number in table.items():
            number = bytes.fromhex(number)
            # Ticks of 1/32767 quarter, so that the longest is still a matter of hours.
            out = self.piano(smf(number + on(60) + number + off(60) + END, b"\x7f\xff"))
            self.assertEqual(out.messages, [(ticks, on(60)), (2 * ticks, off(60))])
            self.assertIn(number + on(60) + number, out.bytes)

    def test_time_code_divisions(self):
        # RP-001: E7 28 is 25 frames a second of 40 ticks, E2 50 is 30 of 80.
        for division in (b"\xe7\x28", b"\xe2\x50", b"\xe8\x04", b"\xe3\x64"):
            out = self.piano(smf(bytes.fromhex("00903C27 81003C00") + END, division))
            self.assertEqual(out.messages, [(0, on(60, 0x27)), (128, off(60))])
            self.assertEqual(out.division, division)

    def test_format_1_plays_track_by_track(self):
        tracks = [bytes.fromhex("00903C27 603C00") + END, bytes.fromhex("00904027 604000") + END]
        data = b"MThd\0\0\0\6\0\1\0\2\0\x60" + b"".join(b"MTrk" + len(t).to_bytes(4, "big") + t for t in tracks)
        out = self.piano(data)
        self.assertEqual(out.messages, [(0, on(60, 0x27)), (0, on(64, 0x27)), (96, off(60)), (96, off(64))])

    def test_exclusive_in_packets_goes_out_whole(self):
        # RP-001: a message in several packets; R18: whole, to outputs with sysex on.
        out = self.piano(smf(bytes.fromhex("00F003431200 8148F706431200431200 64F704431200F7") + END))
        self.assertEqual(out.messages, [(300, bytes.fromhex("F0431200431200431200431200F7"))])

    def test_clock_in_an_escape_goes_out(self):
        # RP-001: F7 and a length carry any bytes; R18: clock to outputs with clock on, active sensing to none.
        out = self.piano(smf(bytes.fromhex("05F701FA 05F701F8 05F701FE 05F701FC") + END))
        self.assertEqual(out.messages, [(5, b"\xfa"), (10, b"\xf8"), (20, b"\xfc")])
        self.assertTrue(out.bytes.endswith(bytes.fromhex("05F701FA 05F701F8 0AF701FC") + END), out.bytes.hex())


if __name__ == "__main__":
    unittest.main()
