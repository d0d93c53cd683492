"""Cues and the clock: what other machines say and are told, byte for byte against the standards' numbers, and our clock
against the ideal grid.

What is expected is worked out by hand from the sources named beside each test; mido reads the files. Takes are put
together by hand (RP-001), for they hold system messages that mido does not write.
"""

import unittest

from concert import Concert, control, off, on, smf

# One tick of a take is one microsecond: a quarter note of 32767 µs has 32767 ticks (RP-001: division, Set Tempo).
DIVISION = 32_767
SECOND = 1_000_000

# The text goes on with the keyboard's own table, which `concert` begins.
GEAR = """
play = true
[inputs.tracks]
port = "tracks player"
play = false
[outputs.piano]
virtual = true
[outputs.tracks]
port = "tracks player"
pass_clock = true
[outputs.desk]
virtual = true
[outputs.drums]
virtual = true
send_clock = true
[sounds.grand]
output = "piano"
channel = 1
"""

SONG = 'title = "%s"\nkey = "C"\n%s[[zone]]\nsound = "grand"\n'


def cue(when, does):
    return f"[[cue]]\nwhen = {{ {when} }}\n{does}\n"


def send(message, to="desk"):
    return f'do = "send"\nto = "{to}"\nmessage = {message}'


def keys(numbers):
    """Cues on the keys from C1 up that send these messages."""
    return "".join(cue(f'input = "keyboard", note = {24 + i}', send(number)) for i, number in enumerate(numbers))


def variable(number):
    """A variable-length quantity (RP-001)."""
    data = [number & 0x7F]
    while number := number >> 7:
        data.append(number & 0x7F | 0x80)
    return bytes(reversed(data))


def take(events, end=None):
    """`events`: (microsecond, bytes or marker text), in order. System messages are events F0 (exclusive) and F7 (RP-001)."""
    track = b"\0\xff\x51\x03" + DIVISION.to_bytes(3, "big")
    last = 0
    for at, event in events:
        track += variable(at - last)
        last = at
        if isinstance(event, str):
            text = event.encode()
            track += b"\xff\x06" + variable(len(text)) + text
        elif event[0] == 0xF0:
            track += b"\xf0" + variable(len(event) - 1) + event[1:]
        elif event[0] > 0xF0:
            track += b"\xf7" + variable(len(event)) + event
        else:
            track += event
    track += variable(max(0, (end or 0) - last)) + b"\xff\x2f\0"
    return smf(track, DIVISION.to_bytes(2, "big"))


def replay(cues, events, end=None, songs=("",), gear=GEAR):
    """`songs`: what each song has besides its title, its key and a zone."""
    named = {f"s{i}": SONG % (f"Song {i}", text.split("[[", 1)[0]) + "".join(text.partition("[[")[1:])
             for i, text in enumerate(songs)}
    with Concert(gear + cues, named, [f'map = "{name}.toml"' for name in named]) as concert:
        return concert.replay(take(events, end))


def said(replayed):
    return [data for _, data in replayed.messages]


class Sent(unittest.TestCase):
    """What cues say."""

    maxDiff = None

    def press_all(self, messages):
        events = [(SECOND * (1 + i) + up * 1000, (off if up else on)(24 + i)) for i in range(len(messages)) for up in (0, 1)]
        out = replay(keys(messages), events, end=SECOND * (len(messages) + 2))
        # R19: a key with a cue plays nothing.
        self.assertEqual(out["piano"].messages, [])
        return said(out["desk"])

    def test_machine_control_commands(self):
        # MIDI Machine Control (RP-013), the list of commands: F0 7F device 06 command F7, to all devices 7F.
        numbers = {"stop": 0x01, "play": 0x02, "forward": 0x04, "rewind": 0x05, "record": 0x06, "pause": 0x09}
        heard = self.press_all([f'{{ transport = "{word}" }}' for word in numbers])
        self.assertEqual(heard, [bytes([0xF0, 0x7F, 0x7F, 0x06, number, 0xF7]) for number in numbers.values()])

    def test_locate(self):
        # RP-013, LOCATE [TARGET]: 44, count 06, 01, then the standard time code of five bytes: hours with the type in bits
        # 5 and 6 (0: 24 frames a second), minutes, seconds, frames, subframes. The layout is from memory.
        heard = self.press_all(['{ locate = "00:01:30:00" }', '{ locate = "23:59:58:23" }'])
        head = bytes([0xF0, 0x7F, 0x7F, 0x06, 0x44, 0x06, 0x01])
        self.assertEqual(heard, [head + bytes([0, 1, 30, 0, 0, 0xF7]), head + bytes([23, 59, 58, 23, 0, 0xF7])])

    def test_song_select_counts_from_1_in_maps_and_from_0_on_the_wire(self):
        # MIDI 1.0 Detailed Specification 4.2.1, table VI: F3 and one data byte, 0-127.
        heard = self.press_all(["{ song_select = 1 }", "{ song_select = 4 }", "{ song_select = 128 }"])
        self.assertEqual(heard, [bytes([0xF3, 0]), bytes([0xF3, 3]), bytes([0xF3, 127])])

    def test_clock_and_position(self):
        # Ibid., tables V and VI: start FA, continue FB, stop FC; song position F2, LSB, MSB, in sixteenths: the example of
        # p. 27 is 260, F2 04 02.
        words = ["start", "continue", "stop"]
        messages = [f'{{ clock = "{word}" }}' for word in words] + ['{ bytes = "F2 04 02" }']
        self.assertEqual(self.press_all(messages), [b"\xfa", b"\xfb", b"\xfc", bytes([0xF2, 260 & 0x7F, 260 >> 7])])

    def test_programs_with_a_bank(self):
        # Ibid., table III: bank select is controller 0 (MSB) and 32 (LSB), and takes effect with the Program Change after
        # it. Programs count from 1 in maps, from 0 on the wire; bank bytes from 0.
        messages = [
            "{ program = 5, channel = 3, bank = [1, 2] }", "{ program = 128, channel = 16 }",
            "{ program = 1, channel = 1, bank = [0, 127] }",
        ]
        self.assertEqual(
            self.press_all(messages),
            [control(0, 1, 3), control(32, 2, 3), bytes([0xC2, 4]), bytes([0xCF, 127]),
             control(0, 0), control(32, 127), bytes([0xC0, 0])],
        )

    def test_a_note_has_its_length(self):
        out = replay(keys(["{ note = [60, 90], channel = 2, length_ms = 125 }"]), [(SECOND, on(24))], end=2 * SECOND)
        self.assertEqual(out["desk"].messages, [(SECOND, on(60, 90, 2)), (SECOND + 125_000, off(60, 64, 2))])

    def test_on_entering_and_leaving(self):
        # R8: what leaving does, then what entering does; the machine that led is told nothing of it.
        leaves = 'on_leaving = [{ to = "desk", message = { transport = "stop" } }]\n'
        send = '{ to = "desk", message = { %s } }'
        located, played = send % 'locate = "00:00:10:00"', send % 'transport = "play"'
        enters = f"on_entering = [{located}, {played}]\n"
        songs = (leaves, enters)
        out = replay(cue('input = "keyboard", control = 67', 'do = "next-song"'), [(SECOND, control(67, 127))], songs=songs)
        place = bytes([0xF0, 0x7F, 0x7F, 6, 0x44, 6, 1, 0, 0, 10, 0, 0, 0xF7])
        self.assertEqual(said(out["desk"]), [bytes([0xF0, 0x7F, 0x7F, 6, 1, 0xF7]), place, bytes([0xF0, 0x7F, 0x7F, 6, 2, 0xF7])])


class Received(unittest.TestCase):
    """What other machines say."""

    maxDiff = None

    def fired(self, cues, messages, **kwargs):
        """The times, in seconds, at which the desk heard something."""
        events = [(0, "from tracks")] + [(SECOND * (1 + i), message) for i, message in enumerate(messages)]
        out = replay(cues, events, end=SECOND * (len(messages) + 2), **kwargs)
        return [(at // SECOND, data[1:]) for at, data in out["desk"].messages]

    def test_machine_control(self):
        # RP-013: stop 01, play 02, deferred play 03 (which we take for play), to a device or to all (7F); record strobe 06
        # and pause 09 are something else, and so are other sub-ids.
        cues = "".join(
            cue(f'input = "tracks", transport = "{word}"', send(f"{{ control = [20, {value}], channel = 1 }}"))
            for word, value in (("play", 1), ("stop", 2))
        )
        mmc = [(0x7F, 2), (0x7F, 1), (0x00, 3), (0x10, 2), (0x7F, 9), (0x7F, 6)]
        messages = [bytes([0xF0, 0x7F, device, 6, command, 0xF7]) for device, command in mmc]
        messages.append(bytes([0xF0, 0x7F, 0x7F, 7, 2, 0xF7]))
        play, stop = bytes([20, 1]), bytes([20, 2])
        self.assertEqual(self.fired(cues, messages), [(1, play), (2, stop), (3, play), (4, play)])

    def test_clock_messages(self):
        # MIDI 1.0 Detailed Specification 4.2.1, table V: start FA, continue FB, stop FC, clock F8.
        cues = "".join(
            cue(f'input = "tracks", clock = "{word}"', send(f"{{ control = [20, {value}], channel = 1 }}"))
            for word, value in (("start", 1), ("continue", 2), ("stop", 3))
        )
        heard = self.fired(cues, [b"\xfa", b"\xfc", b"\xfb", b"\xf8"])
        self.assertEqual(heard, [(1, bytes([20, 1])), (2, bytes([20, 3])), (3, bytes([20, 2]))])

    def test_numbers_choose_songs(self):
        # Number 1 is the 0 on the wire, for Program Change (table II, Cn) and Song Select (table VI, F3).
        songs = [f'on_entering = [{{ to = "desk", message = {{ control = [20, {i}], channel = 1 }} }}]\n' for i in range(4)]
        cues = cue('input = "tracks", program = "any"', 'do = "song"\nsong = "received"')
        cues += cue('input = "tracks", song_select = "any"', 'do = "song"\nsong = "received"')
        messages = [bytes([0xC0, 2]), bytes([0xF3, 1]), bytes([0xF3, 3]), bytes([0xCF, 0]), bytes([0xC0, 9])]
        heard = self.fired(cues, messages, songs=songs)
        entered = [(at, data[1]) for at, data in heard]
        self.assertEqual(entered, [(0, 0), (1, 2), (2, 1), (3, 3), (4, 0)])
        # A song's own number instead of its place.
        numbered = [f"number = {number}\n" + song for number, song in zip((100, 7, 128, 1), songs)]
        messages = [bytes([0xC0, 127]), bytes([0xF3, 6]), bytes([0xC0, 99]), bytes([0xC0, 1])]
        entered = [(at, data[1]) for at, data in self.fired(cues, messages, songs=numbered)]
        self.assertEqual(entered, [(0, 0), (1, 2), (2, 1), (3, 0)])

    def test_clock_and_position_pass_as_they_are(self):
        # R18: to an output with clock on; the song position of the example of p. 27.
        messages = [bytes([0xF2, 4, 2]), b"\xfb", b"\xf8", b"\xf8", b"\xfc"]
        events = [(0, "from tracks")] + [(SECOND + 20_833 * i, message) for i, message in enumerate(messages)]
        gear = GEAR.replace('[outputs.tracks]\nport = "tracks player"', '[outputs.tracks]\nvirtual = true')
        out = replay("", events, end=2 * SECOND, gear=gear)
        self.assertEqual(out["tracks"].messages, [(at, message) for at, message in events[1:]])
        self.assertEqual(out["drums"].messages, [])

    def test_no_message_goes_back_to_where_it_came_from(self):
        # R19: for a second; then, and from somebody else, it is said.
        enters = 'on_entering = [{ to = "tracks", message = { program = %d, channel = 1 } }]\n'
        cues = cue('input = "tracks", program = "any"', 'do = "song"\nsong = "received"')
        cues += cue('input = "keyboard", control = 67', 'do = "previous-song"')
        events = [
            (0, "from tracks"), (SECOND, bytes([0xC0, 1])),
            (3 * SECOND, "from keyboard"), (3 * SECOND, control(67, 127)),
        ]
        out = replay(cues, events, songs=[enters % 1, enters % 2])
        self.assertEqual(out["tracks"].messages, [(0, bytes([0xC0, 0])), (3 * SECOND, bytes([0xC0, 0]))])


class Clock(unittest.TestCase):
    """24 clocks a quarter note (MIDI 1.0 Detailed Specification 4.2.1, p. 30)."""

    def assert_grid(self, replayed, begin, end, tempo, phase=0.0):
        """From `begin` until `end` clocks stand on the grid of this tempo that has one at `phase`; microseconds."""
        times = [at for at, data in replayed.messages if data == b"\xf8" and begin < at <= end]
        interval = 60 * SECOND / (24 * tempo)
        first = round((times[0] - phase) / interval)
        # A tick of the file is a microsecond; from clock to clock ours rounds to a nanosecond.
        for number, at in enumerate(times):
            self.assertLess(abs(at - (phase + (first + number) * interval)), 5, f"clock {number} at {tempo}")
        self.assertLess(times[0] - begin, interval + 5)
        self.assertLess(end - times[-1], interval + 5)

    def test_a_minute_at_the_songs_tempo(self):
        for tempo in (40, 84, 119, 120, 200, 400):
            # The last clock falls on the end of the minute, give or take what is rounded.
            out = replay("", [], end=60 * SECOND + 10, songs=[f"tempo = {tempo}\n"])
            self.assert_grid(out["drums"], 0, 60 * SECOND + 10, tempo)
            self.assertEqual(len(out["drums"].messages), 24 * tempo)
            self.assertEqual(out["desk"].messages, [])

    def test_another_song_has_another_tempo(self):
        # The next clock comes as the new tempo says, from the last one on.
        cues = cue('input = "keyboard", control = 67', 'do = "next-song"')
        songs = ["tempo = 120\n", "tempo = 75\n", ""]
        events = [(10 * SECOND + 1000, control(67, 127)), (11 * SECOND, control(67, 0)), (20 * SECOND, control(67, 127))]
        out = replay(cues, events, end=30 * SECOND, songs=songs)
        self.assert_grid(out["drums"], 0, 10 * SECOND, 120)
        self.assert_grid(out["drums"], 10 * SECOND, 20 * SECOND, 75, phase=10 * SECOND)
        self.assertLessEqual(out["drums"].messages[-1][0], 20 * SECOND)

    def taps(self, times, **kwargs):
        tap = cue('input = "keyboard", note = 24', 'do = "tap"')
        events = [event for at in times for event in ((at, on(24)), (at + 1000, off(24)))]
        return replay(tap, events, end=60 * SECOND, **kwargs)["drums"]

    def test_four_taps_make_a_tempo(self):
        beat = 400_000
        for number in (1, 2, 3):
            self.assertEqual(self.taps([SECOND + beat * i for i in range(number)]).messages, [])
        for tempo in (50, 75, 120, 180):
            beat = round(60 * SECOND / tempo)
            last = SECOND + 3 * beat
            drums = self.taps([SECOND + beat * i for i in range(4)])
            self.assertGreater(drums.messages[0][0], last)
            # The beat that was tapped is whole microseconds: that is the tempo.
            self.assert_grid(drums, last, 60 * SECOND, 60 * SECOND / beat, phase=last)

    def test_an_outlier_is_thrown_out(self):
        # R19: 150 a minute, one beat left out: of the intervals 0.4, 0.4, 0.4, 0.8 and 0.4 s the fourth does not count.
        times = [SECOND + 400_000 * i for i in (0, 1, 2, 3, 5, 6)]
        drums = self.taps(times)
        self.assert_grid(drums, times[-1], 60 * SECOND, 150, phase=times[3])

    def test_tapped_over_the_songs_tempo(self):
        times = [10 * SECOND + 500_000 * i for i in range(4)]
        drums = self.taps(times, songs=["tempo = 100\n"])
        self.assert_grid(drums, 0, times[-1], 100)
        # 100 a minute has a clock every 25 ms: one at 11.5 s; from there on 120.
        self.assert_grid(drums, times[-1], 60 * SECOND, 120, phase=times[-1])


if __name__ == "__main__":
    unittest.main()
