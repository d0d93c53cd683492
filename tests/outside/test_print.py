"""What `handspan print` puts on paper: chords and keys against music21, touches against SciPy, the PDF as pdfminer and
qpdf read it."""

import re
import subprocess
import tempfile
import unittest
from html.parser import HTMLParser
from pathlib import Path

from music21 import interval, key, pitch
from pdfminer.high_level import extract_pages
from pdfminer.layout import LAParams, LTChar, LTTextLine
from pdfminer.pdfdocument import PDFDocument
from pdfminer.pdfparser import PDFParser
from pdfminer.psparser import LIT

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


def html_of(out):
    """The one HTML file in a folder."""
    [found] = Path(out).glob("*.html")
    return found


class Page(HTMLParser):
    """A printed set's HTML: for each song the sections with their chords, the keys, and the touches."""

    def __init__(self, path):
        super().__init__()
        self.sheets = []
        self._open, self._term = [], ""
        self.feed(Path(path).read_text(encoding="utf-8"))

    def handle_starttag(self, tag, attributes):
        attributes = dict(attributes)
        kinds = attributes.get("class", "").split()
        self._open.append((tag, attributes.get("class", "")))
        if tag == "section" and "sheet" in kinds:
            self.sheets.append(Sheet())
        if tag == "section" and "part" in kinds:
            self.sheets[-1].sections.append([])
        if "chord" in kinds:
            self.sheets[-1].sections[-1].append({})
        if tag == "path" and "curve" in kinds:
            self.sheets[-1].touches.append(attributes["d"])

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
            self.sheets[-1].sections[-1][-1][kind] = data
        elif tag == "dt":
            self._term = data
        elif tag == "dd" and ("dl", "keys") in self._open:
            self.sheets[-1].keys[self._term] = data


class Sheet:
    """What stands on a sheet."""

    def __init__(self):
        self.sections, self.keys, self.touches = [], {}, []

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
            # The first sheet is the front page.
            return Page(html_of(out)).sheets[1:]

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
                page = Page(html_of(out)).sheets[1]
        self.assertEqual(len(page.touches), len(cases))
        for drawn, (lines, expected) in zip(page.touches, cases):
            line = [tuple(map(float, at.split())) for at in re.split("[ML]", drawn) if at]
            # One unit is one velocity; velocity 0 lies where the axes meet.
            left, bottom = 38, 134
            for velocity, (x, y) in enumerate(line, start=1):
                self.assertEqual(x - left, velocity)
                self.assertIn(bottom - y, nearest(expected(velocity)), f"{lines} at {velocity}")
            self.assertEqual(len(line), 127)


# Capitals in millimetres, as README says.
CAPITALS = {"title": 9.0, "key": 9.0, "chord": 7.0, "room": 3.8, "least": 2.2}
POINTS = 72 / 25.4


class Written:
    """A PDF as pdfminer reads it."""

    def __init__(self, path):
        self.path = path
        # Lines of a page are where the letters are, in no wider box than a word: chords stand far apart.
        layout = LAParams(char_margin=1.0, boxes_flow=None)
        self.pages = list(extract_pages(str(path), laparams=layout))
        with Path(path).open("rb") as file:
            document = PDFDocument(PDFParser(file))
            self.titles = [title for _, title, *_ in document.get_outlines()]
            self.fonts = {}
            for xref in document.xrefs:
                for number in xref.get_objids():
                    found = document.getobj(number)
                    if isinstance(found, dict) and found.get("Type") is LIT("FontDescriptor"):
                        self.fonts[found["FontName"].name] = found

    def letters(self, page):
        return list(within(self.pages[page], LTChar))

    def text(self, page):
        return " ".join(line.get_text() for line in within(self.pages[page], LTTextLine))

    def capitals(self, letter):
        """How high its capitals are, in millimetres: its size, and what the font says of its capitals."""
        return letter.size * self.fonts[letter.fontname]["CapHeight"] / 1000 / POINTS


def within(element, kind):
    """All of a kind in what was laid out, in its order."""
    if isinstance(element, kind):
        yield element
    elif hasattr(element, "__iter__"):
        for part in element:
            yield from within(part, kind)


class Paper(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        printed(ROOT / "maps" / "midwinter.toml", cls.folder.name)
        cls.pdf = Written(Path(cls.folder.name) / "midwinter.pdf")
        cls.html = Page(html_of(cls.folder.name))

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def test_each_song_and_pause_has_a_page_after_the_front_page(self):
        titles = ["Snow at the Weir Gate", "Frost on the Window", "Candle by Candle", "Welcome", "The Miller's Lantern",
                  "Nine Bells Under the Ice", "Long Night Round", "The Ferry at First Light", "A reading",
                  "The Lamplighter's Lullaby", "Carry the Light", "Home Before the Thaw",
                  "Snow at the Weir Gate (encore)"]
        self.assertEqual(len(self.pdf.pages), 14)
        self.assertEqual(self.pdf.titles, ["Midwinter concert", *titles])
        for number, title in enumerate(titles, start=1):
            text = " ".join(self.pdf.text(number).split())
            self.assertIn(title, text)
            self.assertIn(f"{number} of 13", text)
        self.assertEqual(len(self.html.sheets), 14)

    def test_the_chords_of_the_html_stand_on_the_pages(self):
        for page, sheet in enumerate(self.html.sheets):
            words = [line.get_text().strip() for line in within(self.pdf.pages[page], LTTextLine)]
            for section in range(len(sheet.sections)):
                for fingers, room in sheet.chords(section):
                    self.assertIn(fingers, words)
                    self.assertIn(room, words)

    def test_letters_are_as_large_as_said(self):
        """On every page; drawings have small print of their own, the names of the Cs and the numbers of plots."""
        chords = {chord for sheet in self.html.sheets for n in range(len(sheet.sections)) for chord, _ in sheet.chords(n)}
        sizes = {"title": set(), "chord": set(), "least": set()}
        for number, page in enumerate(self.pdf.pages):
            for line in within(page, LTTextLine):
                text, high = line.get_text().strip(), {round(self.pdf.capitals(one), 1) for one in within(line, LTChar)}
                if text == self.pdf.titles[number]:
                    sizes["title"] |= high
                if text in chords and max(high) > 5 and line.x0 < 560 and high != {9.0}:
                    sizes["chord"] |= high
                if not re.fullmatch(r"C-?\d|\d+|out|velocity in", text):
                    sizes["least"].add(min(high))
                else:
                    self.assertGreaterEqual(min(high), 1.0)
        self.assertEqual(sizes["title"], {CAPITALS["title"]})
        self.assertEqual(sizes["chord"] - {5.5}, {CAPITALS["chord"]})
        self.assertGreaterEqual(min(sizes["least"]), CAPITALS["least"])

    def test_room_and_fingers_have_their_sizes(self):
        # Frost on the Window: fingers in C, room in F.
        high = {}
        for line in within(self.pdf.pages[2], LTTextLine):
            for letter in within(line, LTChar):
                high.setdefault(line.get_text().strip(), set()).add(round(self.pdf.capitals(letter), 1))
        self.assertEqual(high["Am"], {CAPITALS["chord"]})
        self.assertEqual(high["Gm7"], {CAPITALS["room"]})
        self.assertIn(CAPITALS["key"], high["C"])
        self.assertIn(CAPITALS["key"], high["F"])

    def test_every_font_is_embedded(self):
        self.assertGreaterEqual(len(self.pdf.fonts), 3)
        for name, font in self.pdf.fonts.items():
            self.assertRegex(name, r"^[A-Z]{6}\+\S+$")
            self.assertTrue("FontFile2" in font or "FontFile3" in font, name)
        used = {letter.fontname for page in range(14) for letter in self.pdf.letters(page)}
        self.assertEqual(used, set(self.pdf.fonts))

    def test_it_is_valid(self):
        checked = subprocess.run(["qpdf", "--check", str(self.pdf.path)], capture_output=True, text=True, check=False)
        self.assertEqual(checked.returncode, 0, checked.stdout + checked.stderr)

    def test_nothing_lies_outside_the_page(self):
        for page in self.pdf.pages:
            left, bottom, right, top = page.bbox
            self.assertAlmostEqual(right / POINTS, 210, 1)
            self.assertAlmostEqual(top / POINTS, 297, 1)
            for letter in within(page, LTChar):
                inside = letter.x0 >= 9 * POINTS and letter.x1 <= right - 9 * POINTS
                self.assertTrue(inside and letter.y0 >= 8 * POINTS and letter.y1 <= top - 8 * POINTS, letter)


class Hostile(unittest.TestCase):
    """Sets that strain a page."""

    def written(self, song, entries):
        with Concert(GEAR, {"any": song}, entries) as concert, tempfile.TemporaryDirectory() as out:
            printed(concert.set, out)
            [pdf] = Path(out).glob("*.pdf")
            written = Written(pdf)
            checked = subprocess.run(["qpdf", "--check", str(pdf)], capture_output=True, text=True, check=False)
            self.assertEqual(checked.returncode, 0, checked.stdout + checked.stderr)
            return written

    def test_titles_of_other_alphabets_can_be_copied_out(self):
        titles = ["Κανών του χειμώνα", "Зимний вечер", "Ђурђевдан", "Dvořák Ẩm", "½ ♩ → ♯"]
        song = 'title = "Any"\nkey = "C"\n[[zone]]\nsound = "grand"\n'
        written = self.written(song, [f'map = "any.toml"\ntitle = "{title}"\n' for title in titles])
        self.assertEqual(written.titles[1:], titles)
        for number, title in enumerate(titles, start=1):
            self.assertIn(title, " ".join(written.text(number).split()))

    def test_what_runs_from_right_to_left_stands_so(self):
        song = 'title = "Any"\nkey = "C"\n[[zone]]\nsound = "grand"\n'
        written = self.written(song, ['map = "any.toml"\ntitle = "שלום"\n'])
        large = [one for one in written.letters(1) if written.capitals(one) > 8 and "א" <= one.get_text() <= "ת"]
        # From left to right its last letter comes first.
        self.assertEqual("".join(one.get_text() for one in sorted(large, key=lambda one: one.x0)), "םולש")

    def test_many_sections_go_on_over_pages_with_letters_as_large(self):
        sections = "".join(f'[[section]]\nname = "Verse {n}"\nchords = "C | F | G | C"\n' for n in range(40))
        song = f'title = "{"And the snow came down over the weir " * 4}"\nkey = "C"\n[[zone]]\nsound = "grand"\n{sections}'
        written = self.written(song, ['map = "any.toml"\n'])
        self.assertGreater(len(written.pages), 3)
        for page in range(1, len(written.pages)):
            text = " ".join(written.text(page).split())
            self.assertIn(f"page {page} of {len(written.pages) - 1}", text)
        large = {round(written.capitals(one), 1) for page in range(2, 4) for one in written.letters(page)}
        self.assertIn(CAPITALS["chord"], large)

    def test_two_hundred_songs(self):
        song = 'title = "Any"\nkey = "C"\n[[zone]]\nsound = "grand"\n'
        written = self.written(song, ['map = "any.toml"\n'] * 200)
        self.assertEqual(len(written.titles), 201)
        self.assertIn("200 of 200", " ".join(written.text(len(written.pages) - 1).split()))


if __name__ == "__main__":
    unittest.main()
