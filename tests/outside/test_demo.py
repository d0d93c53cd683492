"""The demo set with its takes: markers that are known, notes that alternate (R2) and end, and what helps one hand."""

import tempfile
import tomllib
import unittest
from pathlib import Path

import mido

from concert import ROOT, Replayed, replay

MAPS = ROOT / "maps"
TAKES = MAPS / "takes"


class Demo(unittest.TestCase):
    def setUp(self):
        with open(MAPS / "midwinter.toml", "rb") as file:
            self.set = tomllib.load(file)
        with open(MAPS / "gear.toml", "rb") as file:
            self.gear = tomllib.load(file)

    def test_every_song_has_its_take_and_its_markers_are_in_the_maps(self):
        songs = {Path(entry["map"]).stem for entry in self.set["song"] if "map" in entry}
        takes = {path.stem for path in TAKES.glob("*.mid")}
        self.assertEqual(takes, songs | {"whole-set", "directing"})
        for path in TAKES.glob("*.mid"):
            song = None
            for message in mido.MidiFile(path).tracks[0]:
                if message.type != "marker":
                    continue
                word, name = message.text.split(" ", 1)
                if word == "song":
                    entry = self.set["song"][int(name) - 1]
                    if "map" in entry:
                        song = tomllib.loads((MAPS / entry["map"]).read_text(encoding="utf-8"))
                        if path.stem not in ("whole-set", "directing"):
                            self.assertEqual(Path(entry["map"]).stem, path.stem)
                elif word == "section":
                    self.assertIn(name, [section["name"] for section in song["section"]], path.name)
                elif word == "from":
                    self.assertIn(name, self.gear["inputs"], path.name)
                elif word == "do":
                    self.assertIn(name, ["drone", "fade"], path.name)
                else:
                    self.assertEqual(word, "key", path.name)

    def test_every_take_replays_and_ends_in_silence(self):
        for path in sorted(TAKES.glob("*.mid")):
            with self.subTest(path.name):
                folder = tempfile.TemporaryDirectory(prefix="handspan-outside-")
                self.addCleanup(folder.cleanup)
                out = Path(folder.name)
                done = replay(MAPS / "midwinter.toml", path, out)
                self.assertEqual((done.returncode, done.stderr), (0, ""))
                played = mido.MidiFile(path)
                replayed = {file.stem: Replayed(file) for file in out.glob("*.mid")}
                self.assertEqual(set(replayed), set(self.gear["outputs"]))
                heard = 0
                for name, output in replayed.items():
                    self.assertEqual(output.file.ticks_per_beat, played.ticks_per_beat)
                    for channel in range(1, 17):
                        states = output.sounding(channel)
                        heard += len(states)
                        if states:
                            self.assertEqual(list(states.values())[-1], frozenset(), f"{name} {channel}")
                        pedal = [data[2] for _, data in output.of(channel) if data[0] >> 4 == 11 and data[1] == 64]
                        self.assertEqual(pedal[-1:] or [0], [0], f"{name} {channel}")
                # At least once for each key that was pressed, and again as it came up or as the pad moved.
                pressed = sum(message.type == "note_on" and message.velocity > 0 for message in played.tracks[0])
                self.assertGreater(heard, pressed)

    def replayed(self, take):
        """A take of the demo through its set: the played file, and each output's replayed one."""
        with tempfile.TemporaryDirectory(prefix="handspan-outside-") as folder:
            done = replay(MAPS / "midwinter.toml", TAKES / take, Path(folder))
            self.assertEqual((done.returncode, done.stderr), (0, ""))
            return mido.MidiFile(TAKES / take), {file.stem: Replayed(file) for file in Path(folder).glob("*.mid")}

    def test_the_pad_follows_the_chords_of_one_hand(self):
        # What the maps print for the song in F, a chord a bar: root and fifth of each.
        played, outputs = self.replayed("frost-on-the-window.mid")
        printed = [("F", "C"), ("C", "G"), ("D", "A"), ("C", "G"), ("Bb", "F"), ("F", "C"), ("G", "D"), ("C", "G")]
        classes = {"C": 0, "D": 2, "F": 5, "G": 7, "A": 9, "Bb": 10}
        states = outputs["pad"].sounding(1)
        bar = 4 * played.ticks_per_beat
        for number, chord in enumerate(printed):
            # Held through the bar and over its end, while the hand moves: from when its roll is decided, 0.18 s after
            # the first key at most, to the next chord. Fingers of the chord before that come up late change nothing.
            begin, end = number * bar + 104, (number + 1) * bar
            heard = [notes for tick, notes in states.items() if tick <= begin][-1:]
            heard += [notes for tick, notes in states.items() if begin < tick < end]
            self.assertEqual([{note % 12 for note in notes} for notes in heard], [{classes[name] for name in chord}], number)

    def test_the_drone_goes_on_from_song_to_song(self):
        played, outputs = self.replayed("whole-set.mid")
        tick, marks = 0, {}
        for message in played.tracks[0]:
            tick += message.time
            if message.type == "marker":
                marks.setdefault(message.text, []).append(tick)
        faded = max(tick for tick in marks["do fade"] if tick < marks["song 11"][0])
        states = outputs["pad"].sounding(4)
        sounding = [(tick, notes) for tick, notes in states.items() if marks["do drone"][0] <= tick <= faded]
        # F and C, then without a gap Bb and F in the key of the next song; never silence before the fade.
        self.assertEqual(sounding[0][0], marks["do drone"][0])
        self.assertTrue(all(notes for _, notes in sounding), sounding)
        self.assertEqual(set(sounding[-1][1]), {46, 53})
        self.assertGreater(sounding[1][0], marks["song 10"][0] - 1)
        self.assertEqual(list(states.values())[-1], frozenset())

    def test_pedals_and_the_tracks_player_move_the_set(self):
        played, outputs = self.replayed("directing.mid")
        tick, pedals, said = 0, [], []
        for message in played.tracks[0]:
            tick += message.time
            if message.type == "control_change" and message.control in (66, 67) and message.value == 127:
                pedals.append(tick)
            if message.type in ("program_change", "sysex"):
                said.append(tick)
        # The pad's sound comes with the second press, under the first song's last chord, which goes on.
        setup = [tick for tick, data in outputs["pad"].of(1) if data[0] >> 4 == 12]
        self.assertEqual(setup, [pedals[2]])
        heard = [notes for tick, notes in outputs["piano"].sounding(1).items() if tick <= pedals[2]][-1]
        self.assertEqual({note % 12 for note in heard}, {2, 6, 9})
        # The long press is one 0.7 s after it began: the first step of the fade is 20 ms later.
        fade = [tick for tick, data in outputs["pad"].of(1) if data[:2] == bytes([0xB0, 11])]
        a_second = played.ticks_per_beat * 72 / 60
        self.assertAlmostEqual(fade[0] - pedals[3], 0.72 * a_second, delta=1)
        # The desk hears of the song that the tracks player chose, and the talkback opens and closes.
        desk = [data for _, data in outputs["desk"].messages]
        self.assertEqual(outputs["desk"].messages[0][0], said[0])
        self.assertEqual(desk[-2:], [bytes([0xB0, 80, 127]), bytes([0xB0, 80, 0])])
        # The Program Change that came from the tracks player does not go back to it.
        self.assertFalse(outputs["tracks"].of(1))

    def test_the_wrong_notes_of_a_beginner_sound_right(self):
        # Bb major; in the chorus E natural as well, which its C7 has.
        _, outputs = self.replayed("lamplighters-lullaby.mid")
        scale = {10, 0, 2, 3, 5, 7, 9}
        for channel in (1, 3):
            heard = {note % 12 for notes in outputs["piano"].sounding(channel).values() for note in notes}
            self.assertLessEqual(heard, scale | {4}, channel)


if __name__ == "__main__":
    unittest.main()
