"""The demo set with its takes: markers that are known, notes that alternate (R2) and end, and what is heard where."""

import tempfile
import tomllib
import unittest
from pathlib import Path

import mido

from concert import ROOT, Rendered, render

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
        self.assertEqual(takes, songs | {"whole-set"})
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
                        if path.stem != "whole-set":
                            self.assertEqual(Path(entry["map"]).stem, path.stem)
                elif word == "section":
                    self.assertIn(name, [section["name"] for section in song["section"]], path.name)
                else:
                    self.assertEqual(word, "key", path.name)

    def test_every_take_renders_and_ends_in_silence(self):
        for path in sorted(TAKES.glob("*.mid")):
            with self.subTest(path.name):
                folder = tempfile.TemporaryDirectory(prefix="handspan-outside-")
                self.addCleanup(folder.cleanup)
                out = Path(folder.name)
                done = render(MAPS / "midwinter.toml", path, out)
                self.assertEqual((done.returncode, done.stderr), (0, ""))
                played = mido.MidiFile(path)
                rendered = {file.stem: Rendered(file) for file in out.glob("*.mid")}
                self.assertEqual(set(rendered), set(self.gear["outputs"]))
                heard = 0
                for name, output in rendered.items():
                    self.assertEqual(output.file.ticks_per_beat, played.ticks_per_beat)
                    for channel in range(1, 17):
                        states = output.sounding(channel)
                        heard += len(states)
                        if states:
                            self.assertEqual(list(states.values())[-1], frozenset(), f"{name} {channel}")
                        pedal = [data[2] for _, data in output.of(channel) if data[0] >> 4 == 11 and data[1] == 64]
                        self.assertEqual(pedal[-1:] or [0], [0], f"{name} {channel}")
                self.assertGreater(heard, 100)


if __name__ == "__main__":
    unittest.main()
