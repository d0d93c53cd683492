"""What fits a key and the triads on its degrees (R12, R13), against music21's scales and roman numerals."""

import unittest

from music21 import chord, key, pitch, roman, scale

from theory import ask, numbers

SIGNATURES = range(-7, 8)


def written(tonic, minor):
    return tonic.name.replace("-", "b") + ("m" if minor else "")


def keys():
    """Every key that a signature can write: its tonic and whether it is minor."""
    for minor in (False, True):
        for sharps in SIGNATURES:
            yield key.KeySignature(sharps).asKey("minor" if minor else "major").tonic, minor


def classes(pitches):
    return sorted({p.pitchClass for p in pitches})


class Fitting(unittest.TestCase):
    def test_scales_of_all_keys(self):
        # R12: the natural minor has the raised seventh too, which is to say the harmonic minor's.
        every = list(keys())
        self.assertEqual(len(every), 30)
        for (tonic, minor), answer in zip(every, ask("fitting " + written(*k) for k in every)):
            kinds = [scale.MinorScale, scale.HarmonicMinorScale] if minor else [scale.MajorScale]
            expected = classes(p for kind in kinds for p in kind(tonic).getPitches())
            self.assertEqual(len(expected), 8 if minor else 7)
            self.assertEqual(numbers(answer), expected, written(tonic, minor))

    def test_published_scales(self):
        # Major 0 2 4 5 7 9 11, natural minor 0 2 3 5 7 8 10, harmonic minor with 11: npm tonal 6.3.0.
        for name, expected in {
            "C": [0, 2, 4, 5, 7, 9, 11],
            "Am": [0, 2, 4, 5, 7, 8, 9, 11],
            "Cm": [0, 2, 3, 5, 7, 8, 10, 11],
            "Eb": [0, 2, 3, 5, 7, 8, 10],
        }.items():
            self.assertEqual([numbers(answer) for answer in ask(["fitting " + name])], [expected], name)


class Triads(unittest.TestCase):
    # R13. The fifth of a minor key is major, its raised seventh diminished.
    MAJOR = ["I", "ii", "iii", "IV", "V", "vi", "viio"]
    MINOR = ["i", "iio", "III", "iv", "V", "VI", "VII", "viio"]

    def expected(self, tonic, minor):
        """Root's pitch class to the triad's, by roman numerals in music21's key."""
        home = key.Key(tonic, "minor" if minor else "major")
        seventh = {
            # The capital stands on the natural seventh, the small one on the raised.
            "sixthMinor": roman.Minor67Default.QUALITY,
            "seventhMinor": roman.Minor67Default.QUALITY,
        }
        triads = {}
        for figure in self.MINOR if minor else self.MAJOR:
            numeral = roman.RomanNumeral(figure, home, **seventh)
            self.assertTrue(numeral.isTriad(), figure)
            triads[numeral.root().pitchClass] = classes(numeral.pitches)
        return triads

    def test_triads_of_all_keys_and_none_elsewhere(self):
        for tonic, minor in keys():
            expected = self.expected(tonic, minor)
            self.assertEqual(len(expected), 8 if minor else 7)
            answers = ask(f"triad {written(tonic, minor)}, {root}" for root in range(12))
            for root, answer in enumerate(answers):
                self.assertEqual(numbers(answer), expected.get(root, []), f"{written(tonic, minor)} on {root}")

    def test_published_triads(self):
        # C Dm Em F G Am B°, and in E flat: npm tonal 6.3.0.
        for name, triads in {
            "C": ["C E G", "D F A", "E G B", "F A C", "G B D", "A C E", "B D F"],
            "Eb": ["E- G B-", "F A- C", "G B- D", "A- C E-", "B- D F", "C E- G", "D F A-"],
        }.items():
            for triad in triads:
                root = pitch.Pitch(triad.split()[0]).pitchClass
                (answer,) = ask([f"triad {name}, {root}"])
                self.assertEqual(numbers(answer), classes(chord.Chord(triad).pitches), triad)


if __name__ == "__main__":
    unittest.main()
