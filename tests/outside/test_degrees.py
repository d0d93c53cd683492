"""Chords as degrees of a key, read back by music21's `RomanNumeral`: the same notes over the same bass, in every key."""

import unittest

from music21 import harmony, key, roman

from theory import ask

ROOTS = "C C# Db D Eb E F F# Gb G Ab A Bb B".split()
TONICS = "C G D A E B F# Db Ab Eb Bb F".split()
MINOR_TONICS = "A E B F# C# G# D G C F Bb Eb".split()
# How we write a triad, and music21's symbol of it.
TRIADS = {"": "", "m": "m", "dim": "dim", "aug": "+"}
THIRDS = {"": 4, "m": 3, "dim": 3, "aug": 4}
FIFTHS = {"": 7, "m": 7, "dim": 6, "aug": 8}
NAMES = "C Db D Eb E F Gb G Ab A Bb B".split()


def minus(name):
    """A name as music21 has it, which writes a flat as a minus."""
    return name[0] + name[1:].replace("b", "-")


def notes(figure, tonic, is_minor):
    """Pitch classes and bass, as music21 reads a figure."""
    figure = figure.replace("°", "o")
    # Our degrees of minor are those of natural minor, but for diminished chords.
    default = roman.Minor67Default.QUALITY if "o" in figure else roman.Minor67Default.FLAT
    name = minus(tonic)
    read = roman.RomanNumeral(
        figure, key.Key(name.lower() if is_minor else name), sixthMinor=default, seventhMinor=default
    )
    return {pitch.pitchClass for pitch in read.pitches}, read.bass().pitchClass


class Degrees(unittest.TestCase):
    def test_every_triad_in_every_key_and_inversion(self):
        cases = []
        for is_minor, tonics in ((False, TONICS), (True, MINOR_TONICS)):
            for tonic in tonics:
                for root in ROOTS:
                    for kind in TRIADS:
                        start = harmony.ChordSymbol(minus(root)).root().pitchClass
                        above = [start, start + THIRDS[kind], start + FIFTHS[kind]]
                        for bass in above:
                            slash = "" if bass == start else "/" + NAMES[bass % 12]
                            classes = {number % 12 for number in above}
                            cases.append((root + kind + slash, tonic, is_minor, classes, bass % 12))
        told = ask(f"degree {symbol}, {tonic}{'m' * is_minor}" for symbol, tonic, is_minor, *_ in cases)
        for (symbol, tonic, is_minor, classes, bass), figure in zip(cases, told):
            # Two signs before a numeral are no figure that anybody prints.
            if figure.startswith(("bb", "##")):
                continue
            with self.subTest(symbol=symbol, tonic=tonic, is_minor=is_minor, figure=figure):
                self.assertEqual(notes(figure, tonic, is_minor), (classes, bass))

    def test_sevenths_of_the_dominant_and_their_inversions(self):
        # V7 as every textbook of harmony has it.
        for tonic, symbols in (("C", "G7 G7/B G7/D G7/F"), ("Eb", "Bb7 Bb7/D Bb7/F Bb7/Ab")):
            symbols = symbols.split()
            told = ask(f"degree {symbol}, {tonic}" for symbol in symbols)
            self.assertEqual(told, ["V7", "V65", "V43", "V42"])
            for symbol, figure in zip(symbols, told):
                read = harmony.ChordSymbol("/".join(minus(part) for part in symbol.split("/")))
                self.assertEqual(notes(figure, tonic, False), ({p.pitchClass for p in read.pitches}, read.bass().pitchClass))


if __name__ == "__main__":
    unittest.main()
