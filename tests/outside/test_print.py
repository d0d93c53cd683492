"""What `handspan print` puts on paper: chords and keys against music21, touches against SciPy, pictures against Pillow."""

import re
import subprocess
import tempfile
import unittest
from html.parser import HTMLParser
from pathlib import Path

from music21 import interval, key, pitch
from PIL import Image

from concert import HANDSPAN, ROOT, Concert, gear_of
from test_curves import bent, nearest, points

GEAR = gear_of("piano", "grand")
# Chords of a major and a minor key, chromatic ones and slashes among them.
MAJOR = ["C", "Am7", "F/A", "G7sus4", "Dm7b5", "E7/G#", "Bb", "Abmaj7", "F#dim7", "Csus2/G"]
MINOR = ["Am", "Dm/F", "E7", "F", "G", "Bm7b5", "C/E", "G#dim7", "AmMaj7", "Bb"]


def printed(concert_set, out):
    """Runs `handspan print`; fails where it does."""
    if not HANDSPAN.is_file():
        raise AssertionError(f"there is no program {HANDSPAN}: cargo build, or name it in HANDSPAN")
    command = [str(HANDSPAN), "print", str(concert_set), "--out", str(out)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    if done.returncode != 0:
        raise AssertionError(f"print ended with {done.returncode}:\n{done.stdout}\n{done.stderr}")


class Page(HTMLParser):
    """The sections with their chords, and the keys, of a song's HTML."""

    def __init__(self, path):
        super().__init__()
        self.sections, self.keys, self.touches = [], {}, []
        self._open, self._term = [], ""
        self.feed(Path(path).read_text(encoding="utf-8"))

    def handle_starttag(self, tag, attributes):
        attributes = dict(attributes)
        self._open.append((tag, attributes.get("class", "")))
        if (tag, attributes.get("class")) == ("section", "part"):
            self.sections.append([])
        if attributes.get("class") == "chord":
            self.sections[-1].append({})
        if tag == "polyline":
            self.touches.append(attributes["points"])

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        self._open.pop()

    def handle_endtag(self, tag):
        self._open.pop()

    def handle_data(self, data):
        if not self._open:
            return
        tag, kind = self._open[-1]
        if kind in ("fingers", "room"):
            self.sections[-1][-1][kind] = data
        elif tag == "dt":
            self._term = data
        elif tag == "dd" and ("dl", "keys") in self._open:
            self.keys[self._term] = data

    def chords(self, section=0):
        """(fingers, room) of each chord; what is the same stands once on the page."""
        return [(chord["fingers"], chord.get("room", chord["fingers"])) for chord in self.sections[section]]


def tonics(mode):
    return [key.KeySignature(sharps).asKey(mode).tonic for sharps in range(-6, 7)]


def name(tonic, mode):
    return tonic.name.replace("-", "b") + ("m" if mode == "minor" else "")


TONE = re.compile(r"(?:^|(?<=/))[A-G][#b]?")


def moved(chord, way):
    """A chord's symbol with its root and bass moved by music21; as pitch classes between which the kind stands."""
    tone = lambda found: str(pitch.Pitch(found.group().replace("b", "-")).transpose(way).pitchClass)
    return TONE.sub(tone, chord)


def heard(chord):
    return moved(chord, interval.Interval(0))


class Chords(unittest.TestCase):
    def pages(self, song, entries):
        with Concert(GEAR, {"any": song}, entries) as concert, tempfile.TemporaryDirectory() as out:
            printed(concert.set, out)
            return [Page(path) for path in sorted(Path(out).glob("[0-9]*.html"))]

    def test_chords_at_both_keys(self):
        # The chart in C or A minor; every play-in key, and tonight every other.
        for mode, home, chords in (("major", "C", MAJOR), ("minor", "A", MINOR)):
            song = (
                f'title = "Any"\nkey = "{name(pitch.Pitch(home), mode)}"\n[[zone]]\nsound = "grand"\n'
                f'[[section]]\nname = "Verse"\nchords = "{" | ".join(chords)}"\n'
            )
            tonic = tonics(mode)
            pairs = [(tonic[n], tonic[(5 * n + 3) % len(tonic)]) for n in range(len(tonic))]
            entries = [
                f'map = "any.toml"\nplay_in = "{name(a, mode)}"\nkey = "{name(b, mode)}"\n' for a, b in pairs
            ]
            found = self.pages(song, entries)
            self.assertEqual(len(found), len(pairs))
            for page, (fingers, room) in zip(found, pairs):
                self.assertEqual(page.keys["fingers"], name(fingers, mode))
                self.assertEqual(page.keys["room"], name(room, mode))
                ways = [interval.Interval(pitch.Pitch(home), to) for to in (fingers, room)]
                for chord, shown in zip(chords, page.chords(), strict=True):
                    expected = tuple(moved(chord, interval.Interval(way.semitones)) for way in ways)
                    self.assertEqual(tuple(heard(one) for one in shown), expected, f"{chord}: {shown}")

    def test_diatonic_chords_are_spelled_as_music21_moves_them(self):
        # Between keys of up to five accidentals, where there is one way to write each.
        chords = ["C", "Dm", "Em", "F", "G7/B", "Am"]
        song = (
            'title = "Any"\nkey = "C"\n[[zone]]\nsound = "grand"\n'
            f'[[section]]\nname = "Verse"\nchords = "{" | ".join(chords)}"\n'
        )
        rooms = tonics("major")[1:-1]
        found = self.pages(song, [f'map = "any.toml"\nplay_in = "C"\nkey = "{name(b, "major")}"\n' for b in rooms])
        for page, room in zip(found, rooms, strict=True):
            way = interval.Interval(pitch.Pitch("C"), room)
            tone = lambda at: pitch.Pitch(at.group().replace("b", "-")).transpose(way).name.replace("-", "b")
            expected = [(chord, TONE.sub(tone, chord)) for chord in chords]
            self.assertEqual(page.chords(), expected)

    def test_section_keys_move_the_room_and_not_the_fingers(self):
        # R5: the last section key at or before a place adds its nearest way; fingers that play what sounds go along.
        song = (
            'title = "Any"\nkey = "D"\norder = ["Verse", "Lift", "Verse"]\n[[zone]]\nsound = "grand"\n'
            '[[section]]\nname = "Verse"\nchords = "D | A/C#"\n[[section]]\nname = "Lift"\nlike = "Verse"\nkey = "E"\n'
        )
        entries = ['map = "any.toml"\nplay_in = "C"\nkey = "Eb"\n', 'map = "any.toml"\nplay_in = "room"\n']
        first, second = self.pages(song, entries)
        verse, lifted = [("C", "Eb"), ("G/B", "Bb/D")], [("C", "F"), ("G/B", "C/E")]
        self.assertEqual([first.chords(n) for n in range(3)], [verse, lifted, lifted])
        plain, up = [("D", "D"), ("A/C#", "A/C#")], [("E", "E"), ("B/D#", "B/D#")]
        self.assertEqual([second.chords(n) for n in range(3)], [plain, up, up])


class Touches(unittest.TestCase):
    def test_the_line_goes_through_the_velocities_that_are_sent(self):
        # R6: curve, then level, rounded half away from zero and clamped.
        pairs = [(1, 40), (64, 80), (127, 110)]
        cases = [
            ("curve = { lighter = 26 }", bent(-26)),
            (f"curve = {{ points = {[list(pair) for pair in pairs]} }}", points(pairs)),
            ("level = -6.0", lambda v: v * 10 ** (-6 / 40)),
            ("curve = { heavier = 24, low = 20, high = 115 }\nlevel = 3.0",
             lambda v: bent(24, 20, 115)(v) * 10 ** (3 / 40)),
        ]
        zones = "".join(f'[[zone]]\nname = "z{n}"\nsound = "grand"\n{lines}\n' for n, (lines, _) in enumerate(cases))
        with Concert(GEAR, {"any": 'title = "Any"\nkey = "C"\n' + zones}, ['map = "any.toml"']) as concert:
            with tempfile.TemporaryDirectory() as out:
                printed(concert.set, out)
                page = Page(next(Path(out).glob("01*.html")))
        self.assertEqual(len(page.touches), len(cases))
        for drawn, (lines, expected) in zip(page.touches, cases):
            line = [tuple(map(float, at.split(","))) for at in drawn.split()]
            # One unit is one velocity; velocity 0 lies where the axes meet.
            left, bottom = 38, 134
            for velocity, (x, y) in enumerate(line, start=1):
                self.assertEqual(x - left, velocity)
                self.assertIn(bottom - y, nearest(expected(velocity)), f"{lines} at {velocity}")
            self.assertEqual(len(line), 127)


class Pictures(unittest.TestCase):
    def test_every_page_of_the_demo_is_a_grey_picture_of_a4(self):
        with tempfile.TemporaryDirectory() as out:
            printed(ROOT / "maps" / "midwinter.toml", out)
            drawn = sorted(path.stem for path in Path(out).glob("*.svg"))
            self.assertEqual(sorted(path.stem for path in Path(out).glob("*.png")), drawn)
            for path in Path(out).glob("*.png"):
                with Image.open(path) as picture:
                    picture.load()
                    # A4 at 200 dots to the inch: 210 mm and 297 mm (ISO 216).
                    self.assertEqual(picture.size, (round(210 / 25.4 * 200), round(297 / 25.4 * 200)))
                    colours = picture.convert("RGB").getcolors(maxcolors=1 << 24)
                    self.assertTrue(all(len(set(colour)) == 1 for _, colour in colours), path.name)
                    ink = sum(count for count, colour in colours if colour[0] < 128)
                    self.assertGreater(ink, 10_000, f"{path.name} is nearly empty")


if __name__ == "__main__":
    unittest.main()
