"""How chords and notes are spelled, against music21 over all keys, over keys of sections, and against the chorales."""

import unittest
from collections import Counter

from music21 import chord, corpus, interval, key, pitch, roman

from theory import ask

SIGNATURES = range(-7, 8)
# Chords by their degree, as music21 spells them: those of the key, what leads to its degrees, what is borrowed.
OF_THE_KEY = {
    "major": "I ii iii IV V vi viio V7 ii7 IV7 viiø7",
    "minor": "i iio III iv V VI VII viio V7 viio7 i7 iv7",
}
LEADING = {
    "major": "V/ii V/iii V/V V/vi V7/ii V7/iii V7/IV V7/V V7/vi viio7/ii viio7/iii viio7/V viio7/vi",
    "minor": "V/iv V/V V7/III V7/iv V7/V V7/VI V7/VII viio7/iv viio7/V",
}
BORROWED = {"major": "bII bIII iv bVI bVII", "minor": "bII IV ii"}

DOUBLE = "a textbook has a double accidental, which is never written here"
SHARPEST = "the same keys lead to another degree too: the sharpest of their roots is taken"


def ours(name):
    """A pitch of music21 as we write it."""
    return name.replace("-", "b")


def written(k):
    return ours(k.tonic.name) + ("m" if k.mode == "minor" else "")


def keys():
    for sharps in SIGNATURES:
        for mode in ("major", "minor"):
            yield key.KeySignature(sharps).asKey(mode)


def close(names):
    """MIDI numbers of these pitches, upward from the first."""
    held = []
    for name in names:
        number = 48 + pitch.Pitch(name).pitchClass
        while held and number <= held[-1]:
            number += 12
        held.append(number)
    return held


def tone(name):
    """A note's name without its octave."""
    return name.rstrip("-0123456789")


def spell(cases):
    """(chord, names of the notes) for each (key, section's chords, MIDI numbers)."""
    questions = [f"spell {k}, {symbols}, {' '.join(map(str, held))}" for k, symbols, held in cases]
    for answer in ask(questions):
        named, *names = answer.split()
        yield named, [tone(name) for name in names]


class Spelling(unittest.TestCase):
    maxDiff = None

    def explain(self, differences, listed, cases):
        """`differences`: (what differs, reason or None). Fails for one without a reason."""
        self.assertFalse(Counter(what for what, reason in differences if reason is None), "no listed reason")
        self.assertEqual(Counter(reason for _, reason in differences), Counter(listed))
        agreed = cases - len(differences)
        print(f"{self.id()}: {agreed} of {cases} agree ({agreed / cases:.1%}), the rest for reasons listed")

    def degrees(self, which):
        """Each chord of a key in each inversion against music21's spelling of it."""
        cases, questions = [], []
        for k in keys():
            for figure in which[k.mode].split():
                whole = roman.RomanNumeral(figure, k)
                names = [p.name for p in whole.pitches]
                for times in range(len(names)):
                    turned = names[times:] + names[:times]
                    cases.append((k, figure, turned))
                    questions.append((written(k), "", close(turned)))
        differences = []
        for (k, figure, theirs), (named, found) in zip(cases, spell(questions)):
            expected = [ours(name) for name in theirs]
            if found == expected:
                continue
            reason = None
            if any(len(name) > 2 for name in theirs):
                reason = DOUBLE
            elif figure.startswith("viio7") and is_sharper(found, expected):
                reason = SHARPEST
            differences.append((f"{k} {figure}: {expected}, {named} {found}", reason))
        return differences, len(cases)

    def test_chords_of_the_key_in_all_keys(self):
        differences, cases = self.degrees(OF_THE_KEY)
        self.explain(differences, {DOUBLE: 42}, cases)

    def test_chords_that_lead_to_its_degrees_in_all_keys(self):
        differences, cases = self.degrees(LEADING)
        self.explain(differences, {DOUBLE: 204, SHARPEST: 36}, cases)

    def test_borrowed_chords_in_all_keys(self):
        differences, cases = self.degrees(BORROWED)
        self.explain(differences, {DOUBLE: 48}, cases)

    def test_chords_of_the_chorales(self):
        """Every chord of every seventh chorale, by its keys alone, against Bach's spelling; the key is the whole piece's."""
        alone = "no chord has a name for these keys: each is written as the key has it"
        even = "it divides the octave evenly, and leads elsewhere than its sharpest root does"
        part = "a diminished triad, in the score a part of a seventh chord on another root"
        names = list(corpus.chorales.Iterator(numberingSystem="riemenschneider", returnType="filename"))
        cases = []
        for number in range(1, 372, 7):
            score = corpus.parse(names[number - 1])
            home = written(score.analyze("key"))
            for whole in score.chordify().recurse().getElementsByClass(chord.Chord):
                spelled = {p.midi: ours(p.name) for p in whole.pitches}
                cases.append((number, home, sorted(spelled.items())))
        differences = []
        answers = spell((home, "", [midi for midi, _ in pitches]) for _, home, pitches in cases)
        for (number, home, pitches), (named, found) in zip(cases, answers):
            expected = [name for _, name in pitches]
            if found == expected:
                continue
            kinds = (("-", alone), ("dim7", even), ("aug", even), ("dim", part), ("m7b5", part))
            reason = next((reason for kind, reason in kinds if kind in named), None)
            differences.append((f"{number} in {home}: {expected}, {named} {found}", reason))
        self.explain(differences, {alone: 12, even: 4, part: 13}, len(cases))

    def chart(self, home):
        """The triads on a key's degrees and those that lead to them, in each inversion: root, bass, kind."""
        for figure in (OF_THE_KEY[home.mode] + " " + LEADING[home.mode]).split():
            if "7" in figure:
                continue
            whole = roman.RomanNumeral(figure, home)
            kind = {"major": "", "minor": "m", "diminished": "dim"}[whole.quality]
            for bass in whole.pitches:
                if max(len(whole.root().name), len(bass.name)) <= 2:
                    yield whole.root(), bass, kind

    def test_a_chart_in_the_key_of_a_section(self):
        """Every chart of degrees, moved from every key to every other of its mode, against music21's transposition."""
        cases, questions = [], []
        for home in keys():
            chart = list(self.chart(home))
            for there in keys():
                way = (there.tonic.pitchClass - home.tonic.pitchClass) % 12
                if home.mode != there.mode or way == 0:
                    continue
                moved = interval.Interval(home.tonic, there.tonic)
                for root, bass, kind in chart:
                    symbol = ours(root.name) + kind + ("" if bass.name == root.name else "/" + ours(bass.name))
                    theirs = [p.transpose(moved).name for p in (root, bass)]
                    cases.append((f"{home} to {there}", symbol, theirs, kind))
                    questions.append(f"moved {symbol}, {written(home)}, {written(there)}")
        differences = []
        for (where, symbol, theirs, kind), found in zip(cases, ask(questions)):
            root, bass = (ours(name) for name in theirs)
            expected = root + kind + ("" if root == bass else "/" + bass)
            if found != expected:
                reason = DOUBLE if any(len(name) > 2 for name in theirs) else None
                differences.append((f"{where}: {symbol} is {expected}, {found}", reason))
        self.explain(differences, {DOUBLE: 334}, len(cases))


def is_sharper(found, expected):
    """Whether these names of the same notes lie further on the side of the sharps."""
    place = lambda names: sum("FCGDAEB".index(name[0]) + 7 * (name.count("#") - name.count("b")) for name in names)
    return place(found) > place(expected)


if __name__ == "__main__":
    unittest.main()
