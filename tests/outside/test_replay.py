"""Invented takes through splits, layers, keys, songs and sections: what each output must get, message for message.

What is expected is worked out by hand from the rules named beside each test; mido reads the files.
"""

import unittest

import mido

from concert import Concert, control, off, on, take

GEAR = """
[outputs.piano]
virtual = true
[outputs.strings]
virtual = true
[outputs.desk]
virtual = true

[sounds.grand]
output = "piano"
channel = 1
program = 1
[sounds.warm]
output = "strings"
channel = 2
bank = [1, 2]
program = 50
volume = 90
pan = 30
[sounds.drum]
output = "strings"
channel = 10
"""

SONG = 'title = "One"\nkey = "C"\n'
GRAND = '[[zone]]\nsound = "grand"\n'
WARM = '[[zone]]\nsound = "warm"\n'

# R8: bank MSB, LSB and at once the program, volume, pan; programs count from 1, bytes from 0.
GRAND_SET_UP = [(0, bytes([0xC0, 0]))]
WARM_SET_UP = [
    (0, bytes([0xB1, 0, 1])),
    (0, bytes([0xB1, 32, 2])),
    (0, bytes([0xC1, 49])),
    (0, bytes([0xB1, 7, 90])),
    (0, bytes([0xB1, 10, 30])),
]


def replay(song, events, entry="", end=None, **kwargs):
    with Concert(GEAR, {"one": song}, ['map = "one.toml"\n' + entry]) as concert:
        return concert.replay(take(events, end=end, **kwargs))


class Notes(unittest.TestCase):
    maxDiff = None

    def test_a_plain_zone_passes_notes_on(self):
        # R1, R2: release velocities pass through; note-on of velocity 0 is a note-off of 64
        # (MIDI 1.0 Detailed Specification 4.2.1, p. 10).
        out = replay(SONG + GRAND, [(0, on(60, 1)), (10, off(60, 7)), (20, on(61, 127)), (30, on(61, 0))], end=100)
        self.assertEqual(
            out["piano"].messages,
            GRAND_SET_UP + [(0, on(60, 1)), (10, off(60, 7)), (20, on(61, 127)), (30, off(61, 64))],
        )
        self.assertEqual(out["piano"].end, 100)
        self.assertEqual(set(out), {"piano", "strings", "desk"})
        self.assertEqual(out["strings"].messages, [])

    def test_split(self):
        song = SONG + WARM + 'keys = ["A0", "B3"]\n' + GRAND + 'keys = ["C4", "C8"]\n'
        out = replay(song, [(0, on(59)), (0, on(60)), (48, off(60, 5)), (96, off(59, 6))])
        self.assertEqual(out["piano"].messages, GRAND_SET_UP + [(0, on(60)), (48, off(60, 5))])
        self.assertEqual(out["strings"].messages, WARM_SET_UP + [(0, on(59, 80, 2)), (96, off(59, 6, 2))])

    def test_layer_with_octave_and_only(self):
        # R3: every zone that contains the key, up to the first `only`. R4: 12·octave + transpose.
        song = SONG + WARM + 'octave = -1\ntranspose = 2\n' + GRAND + 'keys = ["C4", "C8"]\nexclusive = true\n' + WARM + 'name = "high"\noctave = 1\n'
        out = replay(song, [(0, on(60)), (10, off(60)), (20, on(48)), (30, off(48))])
        self.assertEqual(out["piano"].notes(), [(0, True, 60, 80), (10, False, 60, 64)])
        self.assertEqual(
            out["strings"].notes(2),
            [
                (0, True, 50, 80), (10, False, 50, 64),
                (20, True, 38, 80), (20, True, 60, 80), (30, False, 38, 64), (30, False, 60, 64),
            ],
        )

    def test_velocity_window(self):
        song = SONG + GRAND + "velocity = [1, 79]\n" + WARM + "velocity = [80, 127]\n"
        out = replay(song, [(0, on(60, 79)), (1, off(60)), (2, on(62, 80)), (3, off(62))])
        self.assertEqual([note[2] for note in out["piano"].notes()], [60, 60])
        self.assertEqual([note[2] for note in out["strings"].notes(2)], [62, 62])

    def test_within_brings_notes_in_by_octaves(self):
        # R4: by octaves to the nearest place inside.
        song = SONG + GRAND + 'within = ["C3", "C4"]\n'
        keys = [36, 47, 48, 60, 61, 72, 84, 96]
        events = [event for i, key in enumerate(keys) for event in ((i * 10, on(key)), (i * 10 + 5, off(key)))]
        out = replay(song, events)
        self.assertEqual([note for _, struck, note, _ in out["piano"].notes() if struck], [48, 59, 48, 60, 49, 60, 60, 60])

    def test_notes_beyond_midi_are_not_sent(self):
        # R4: never clamped.
        out = replay(SONG + GRAND + "octave = 4\n", [(0, on(79)), (0, on(80)), (9, off(79)), (9, off(80))])
        self.assertEqual(out["piano"].notes(), [(0, True, 127, 80), (9, False, 127, 64)])

    def test_two_owners_of_one_note(self):
        # R2: E4 from the key E4 and from the key E3 an octave up; the off comes when the last lets go.
        # At 480 ticks a quarter and 120 beats a minute a tick is 1.04 ms: 480 ticks are more than gather.
        song = SONG + GRAND + 'keys = ["C4", "C8"]\n' + GRAND + 'name = "low"\nkeys = ["A0", "B3"]\noctave = 1\n'
        out = replay(song, [(0, on(64, 50)), (480, on(52, 90)), (960, off(64, 10)), (1440, off(52, 20))])
        self.assertEqual(
            out["piano"].notes(),
            [(0, True, 64, 50), (480, False, 64, 64), (480, True, 64, 90), (1440, False, 64, 20)],
        )
        # Within gather the second only becomes one more owner.
        out = replay(song, [(0, on(64, 50)), (20, on(52, 90)), (960, off(52, 10)), (1440, off(64, 20))])
        self.assertEqual(out["piano"].notes(), [(0, True, 64, 50), (1440, False, 64, 20)])

    def test_what_is_held_at_the_end_is_let_go(self):
        # R17: keys come up, lowest first, then pedals lift.
        out = replay(SONG + GRAND, [(0, on(64)), (0, on(60)), (5, control(64, 127))], end=50)
        self.assertEqual(
            out["piano"].messages[1:],
            [(0, on(64)), (0, on(60)), (5, control(64, 127)), (50, off(60)), (50, off(64)), (50, control(64, 0))],
        )


class Keys(unittest.TestCase):
    def test_tonights_key_moves_what_follows_it(self):
        # R5: from C to Eb is +3; drums stay.
        song = SONG + GRAND + '[[zone]]\nsound = "drum"\nfollow_key = false\n'
        out = replay(song, [(0, on(60)), (9, off(60))], entry='key = "Eb"\nplay_in = "C"\n')
        self.assertEqual([note for _, _, note, _ in out["piano"].notes()], [63, 63])
        self.assertEqual([note for _, _, note, _ in out["strings"].notes(10)], [60, 60])

    def test_a_key_marker_moves_only_new_notes(self):
        # R5: the nearest way from what sounds: C to F# is +6, F# to E −2.
        events = [
            (0, on(60)), (10, "key F#"), (20, on(62)), (30, off(60)), (40, off(62)),
            (50, "key E"), (50, on(60)), (60, off(60)),
        ]
        out = replay(SONG + GRAND, events)
        self.assertEqual(
            out["piano"].notes(),
            [
                (0, True, 60, 80), (20, True, 68, 80), (30, False, 60, 64), (40, False, 68, 64),
                (50, True, 64, 80), (60, False, 64, 64),
            ],
        )

    def test_a_section_key_moves_with_tonights_key(self):
        # R5: chart C, its last chorus in D; tonight Eb: the last chorus is in F.
        song = SONG + GRAND + '[[section]]\nname = "Verse"\n[[section]]\nname = "Last"\nkey = "D"\n'
        events = [(0, on(60)), (5, off(60)), (10, "section Last"), (10, on(60)), (15, off(60))]
        out = replay(song, events, entry='key = "Eb"\n' + 'play_in = "C"\n')
        self.assertEqual([note for _, struck, note, _ in out["piano"].notes() if struck], [63, 65])


class Changes(unittest.TestCase):
    maxDiff = None

    def test_song_change(self):
        # R1: the held note ends where it began. R8: what leaving does, set-up, what entering does, in this order, at the
        # marker's tick; what is already so is not sent again.
        one = SONG + 'on_leaving = [{ to = "desk", message = { program = 9, channel = 1 } }]\n' + GRAND
        two = (
            'title = "Two"\nkey = "D"\nplay_in = "C"\n'
            'on_entering = [{ to = "desk", message = { control = [20, 127], channel = 3 } }, '
            '{ to = "piano", message = { song_select = 4 } }]\n'
            + WARM + GRAND + 'volume = 64\n'
        )
        events = [(0, on(60)), (100, "song 2"), (100, on(67)), (150, off(60, 3)), (200, off(67, 4))]
        with Concert(GEAR, {"one": one, "two": two}, ['map = "one.toml"', 'map = "two.toml"']) as concert:
            out = concert.replay(take(events))
        self.assertEqual(
            out["piano"].messages,
            GRAND_SET_UP
            + [
                (0, on(60)), (100, control(7, 64)), (100, bytes([0xF3, 3])),
                (100, on(69)), (150, off(60, 3)), (200, off(69, 4)),
            ],
        )
        self.assertEqual(
            out["strings"].messages,
            [(100, data) for _, data in WARM_SET_UP] + [(100, on(69, 80, 2)), (200, off(69, 4, 2))],
        )
        self.assertEqual(out["desk"].messages, [(100, bytes([0xC0, 8])), (100, control(20, 127, 3))])

    def test_sections_switch_zones(self):
        song = (
            SONG + GRAND + 'sections = ["Verse"]\n' + WARM + 'sections = ["Chorus"]\n'
            '[[section]]\nname = "Verse"\n[[section]]\nname = "Chorus"\n'
        )
        events = [(0, on(60)), (10, "section Chorus"), (20, on(62)), (30, off(60)), (40, off(62))]
        out = replay(song, events)
        self.assertEqual(out["piano"].messages, GRAND_SET_UP + [(0, on(60)), (30, off(60))])
        self.assertEqual(
            out["strings"].messages, [(10, data) for _, data in WARM_SET_UP] + [(20, on(62, 80, 2)), (40, off(62, 64, 2))]
        )

    def test_at_one_tick_the_order_of_the_file_counts(self):
        events = [(0, on(60)), (0, "key D"), (0, on(64)), (9, off(60)), (9, off(64))]
        out = replay(SONG + GRAND, events)
        self.assertEqual([note for _, struck, note, _ in out["piano"].notes() if struck], [60, 66])

    def test_an_unknown_marker_is_reported_and_changes_nothing(self):
        events = [(0, on(60)), (5, "handbells enter"), (9, off(60))]
        with Concert(GEAR, {"one": SONG + GRAND}, ['map = "one.toml"']) as concert:
            done, _ = concert.run(take(events))
            self.assertEqual(done.returncode, 0, done.stderr)
            self.assertIn("handbells enter", done.stderr)
            self.assertEqual(concert.replay(take(events))["piano"].notes(), [(0, True, 60, 80), (9, False, 60, 64)])


class Controllers(unittest.TestCase):
    maxDiff = None

    def test_each_place_gets_each_controller_once(self):
        # R7: two zones at one place, one at another; pedals, modulation, bend and pressure.
        song = SONG + GRAND + GRAND + 'name = "high"\noctave = 1\n' + WARM
        messages = [
            control(64, 127), control(1, 55), bytes([0xE0, 0, 0x50]), bytes([0xD0, 44]),
            control(64, 0), bytes([0xE0, 0, 0x40]), bytes([0xD0, 0]),
        ]
        out = replay(song, [(10 * i, message) for i, message in enumerate(messages)])
        self.assertEqual(out["piano"].messages, GRAND_SET_UP + [(10 * i, m) for i, m in enumerate(messages)])
        second = [bytes([message[0] + 1]) + message[1:] for message in messages]
        self.assertEqual(out["strings"].messages, WARM_SET_UP + [(10 * i, m) for i, m in enumerate(second)])

    def test_what_is_not_passed_on(self):
        # R6: 88. R7: 0, 32, 122 and Program Change; 123–127 let the keys come up.
        silent = [control(88, 5), control(0, 1), control(32, 1), control(122, 0), bytes([0xC0, 9])]
        events = [(0, message) for message in silent] + [(5, on(60)), (9, control(123, 0)), (20, off(60))]
        out = replay(SONG + GRAND, events)
        self.assertEqual(out["piano"].messages, GRAND_SET_UP + [(5, on(60)), (9, off(60))])

    def test_zones_that_ignore(self):
        song = SONG + GRAND + 'pedal = "ignore"\ncontrols = [11]\nbend = "ignore"\n'
        messages = [control(64, 127), control(1, 55), control(11, 99), bytes([0xE0, 0, 0x50]), bytes([0xD0, 44])]
        out = replay(song, [(5, message) for message in messages], end=9)
        self.assertEqual([m for m in out["piano"].messages if m[0] == 5], [(5, control(11, 99))])

    def test_pressure_of_a_key_follows_its_note(self):
        # R7: poly pressure follows the active notes.
        song = SONG + GRAND + "transpose = 5\n"
        out = replay(song, [(0, on(60)), (5, bytes([0xA0, 60, 33])), (6, bytes([0xA0, 61, 33])), (9, off(60))])
        self.assertEqual(out["piano"].messages[1:], [(0, on(65)), (5, bytes([0xA0, 65, 33])), (9, off(65))])


class Files(unittest.TestCase):
    def test_division_tempo_and_meter_are_kept(self):
        meta = [
            (0, mido.MetaMessage("time_signature", numerator=6, denominator=8)),
            (0, mido.MetaMessage("set_tempo", tempo=612_345)),
            (700, mido.MetaMessage("set_tempo", tempo=400_001)),
            (900, mido.MetaMessage("time_signature", numerator=3, denominator=4)),
        ]
        for division in (24, 96, 480, 960, 10080, 32767):
            out = replay(SONG + GRAND, [(10, on(60)), (20, off(60))], end=1000, division=division, meta=meta)
            for name, replayed in out.items():
                self.assertEqual(replayed.file.ticks_per_beat, division)
                self.assertEqual(replayed.end, 1000, name)
                kept = [(tick, m.dict()) for tick, m in replayed.meta if m.type in ("set_tempo", "time_signature")]
                for _, fields in kept:
                    fields.pop("time")
                wanted = [(tick, m.dict()) for tick, m in meta]
                for _, fields in wanted:
                    fields.pop("time")
                self.assertEqual(kept, wanted, name)

    def test_same_take_same_bytes(self):
        # R20.
        events = [(i * 7 % 500, message) for i in range(60) for message in (on(40 + i % 50), control(64, i * 2))]
        first, second = (replay(SONG + GRAND + WARM, events, end=600) for _ in range(2))
        self.assertEqual({n: r.bytes for n, r in first.items()}, {n: r.bytes for n, r in second.items()})

    def test_a_file_that_is_no_take_is_refused(self):
        with Concert(GEAR, {"one": SONG + GRAND}, ['map = "one.toml"']) as concert:
            for data in (b"", b"no take", b"MThd\0\0\0\6\0\2\0\1\0\x60", b"MThd\0\0\0\6\0\0\0\1\0\x60MTrk\0\0\0\x09\0"):
                done, out = concert.run(data)
                self.assertIn(done.returncode, (1, 2), data)
                self.assertIn("take.mid", done.stderr)
                self.assertEqual(list(out.glob("*.mid")), [])


if __name__ == "__main__":
    unittest.main()
