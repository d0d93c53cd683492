"""Chord symbols and the names of handfuls, against music21: all roots, inversions and kinds, with doublings.

Two references. The symbol: music21 builds a chord from its symbol, the keys are its pitches, and the name should be that
symbol. The analysis: music21 is given the bare pitches and says root and kind itself. Where we differ the reason is one
of those listed here, and how often is fixed; a difference for no listed reason fails.
"""

import unittest
from collections import Counter

from music21 import chord, harmony, pitch

from theory import ask, listed, numbers

ROOTS = "C C# D E- E F F# G A- A B- B".split()
# How we write a kind: how music21 10.5.1 does in `harmony.ChordSymbol`, and what its analysis calls it.
KINDS = {
    "maj": ("", "major"),
    "m": ("m", "minor"),
    "dim": ("dim", "diminished"),
    "aug": ("+", "augmented"),
    "sus2": ("sus2", "suspended-second"),
    "sus4": ("sus4", "suspended-fourth"),
    "5": ("power", "power"),
    "6": ("6", "major-sixth"),
    "m6": ("m6", "minor-sixth"),
    "7": ("7", "dominant-seventh"),
    "maj7": ("maj7", "major-seventh"),
    "m7": ("m7", "minor-seventh"),
    "m7b5": ("ø7", "half-diminished-seventh"),
    "dim7": ("o7", "diminished-seventh"),
    "mMaj7": ("mM7", "minor-major-seventh"),
    "7sus4": ("7sus4", "suspended-fourth-seventh"),
    "9": ("9", "dominant-ninth"),
    "maj9": ("M9", "major-ninth"),
    "m9": ("m9", "minor-ninth"),
    "add9": ("add9", None),
    "m(add9)": ("madd9", None),
}
# Kinds whose perfect fifth may be left out.
# The richer kinds, which name what a hand holds only on their root: how music21 10.5.1 writes the same notes.
RICHER = {
    "6/9": "6add9",
    "m6/9": "m6add9",
    "11": "11",
    "m11": "m11",
    "maj11": "M11",
    "13": "13",
    "m13": "m13",
    "maj13": "M13",
    "mMaj9": "mM9",
    "9sus4": "7sus4add9",
    "13sus4": "7sus4add9add13",
    "7sus4(b9)": "7sus4addb9",
    "sus2sus4": "sus4add9",
    "add11": "add11",
    "m(add11)": "madd11",
    "m7(add11)": "m7add11",
    "7(add13)": "7add13",
    "(b5)": "majb5",
    "7b5": "7b5",
    "7#5": "7#5",
    "maj7b5": "maj7b5",
    "maj7#5": "maj7#5",
    "m7#5": "m7#5",
    "7b9": "7b9",
    "7#9": "7#9",
    "7b5b9": "7b5b9",
    "7b5#9": "7b5#9",
    "7#5b9": "7#5b9",
    "7#5#9": "7#5#9",
    "7#11": "7#11",
    "7b13": "7b13",
    "maj7#11": "maj7#11",
    "9b5": "9b5",
    "9#5": "9#5",
    "m9b5": "m9b5",
    "9#11": "9#11",
    "maj9#11": "M9add#11",
    "13b9": "7b9add13",
    "13#11": "9#11add13",
}
# The reference has an eleventh in every thirteenth chord; players leave it out, and so do we (npm tonal 6.3.0 has none).
THIRTEENTHS = ("13", "m13", "maj13")
WITHOUT_FIFTH = ["maj", "m", "7", "m7", "maj7", "mMaj7", "9", "m9", "maj9"]
OVER_FOREIGN_BASS = ["maj", "m", "7", "m7", "maj7", "dim", "aug", "m7b5", "dim7"]

BY_BASS = "the same notes are a sixth and a seventh chord: the one on the bass, else the seventh chord"
SUSPENDED = "the same notes are a suspended second and fourth: the one on the bass, else the fourth"
EVEN = "it divides the octave evenly: the root is the bass"
# (kind of the symbol, its bass above its root): (our kind, our root above its root), and why.
AGAINST_SYMBOL = {
    **{("6", bass): ("m7", 9, BY_BASS) for bass in (4, 7, 9)},
    **{("m6", bass): ("m7b5", 9, BY_BASS) for bass in (3, 7, 9)},
    ("m7", 3): ("6", 3, BY_BASS),
    ("m7b5", 3): ("m6", 3, BY_BASS),
    ("sus2", 2): ("sus4", 7, SUSPENDED),
    ("sus2", 7): ("sus4", 7, SUSPENDED),
    ("sus4", 5): ("sus2", 5, SUSPENDED),
    **{("aug", bass): ("aug", bass, EVEN) for bass in (4, 8)},
    **{("dim7", bass): ("dim7", bass, EVEN) for bass in (3, 6, 9)},
}


def classes(pitches):
    return {p.pitchClass for p in pitches}


def built(root, kind):
    """The chord's pitches by music21, upward."""
    theirs = KINDS[kind][0] if kind in KINDS else RICHER[kind]
    return sorted(harmony.ChordSymbol(root + theirs).pitches, key=lambda p: p.midi)


def inverted(pitches, times):
    """The chord with its lowest so many notes above the others."""
    held = []
    for p in pitches[times:] + pitches[:times]:
        while held and p.midi < held[-1].midi:
            p = p.transpose("P8")
        held.append(p)
    return held


def handfuls():
    """(root, kind, bass above root, pitches): every inversion, plain and with each note doubled an octave higher."""
    for root in ROOTS:
        for kind in KINDS:
            pitches = built(root, kind)
            for times, bass in enumerate(pitches):
                held = inverted(pitches, times)
                above = (bass.pitchClass - pitches[0].pitchClass) % 12
                for doubled in [[]] + [[p.transpose("P8")] for p in held]:
                    yield pitches[0].pitchClass, kind, above, held + doubled


def named(handfuls_):
    """Our root, bass and kind for each handful; None where we name none."""
    questions = ["name " + listed(sorted({p.midi for p in held})) for held in handfuls_]
    parts = [answer.split(maxsplit=2) for answer in ask(questions)]
    return [(int(part[0]), int(part[1]), part[2]) if len(part) == 3 else None for part in parts]


class Symbols(unittest.TestCase):
    def test_notes_of_every_symbol_on_every_root_and_bass(self):
        cases = []
        for root in ROOTS:
            for kind in KINDS:
                pitches = built(root, kind)
                symbol = root.replace("-", "b") + ("" if kind == "maj" else kind)
                cases.append((symbol, pitches[0], pitches[0], classes(pitches)))
                for written in ROOTS:
                    bass = pitch.Pitch(written)
                    name = symbol + "/" + written.replace("-", "b")
                    cases.append((name, pitches[0], bass, classes(pitches) | {bass.pitchClass}))
        self.assertEqual(len(cases), 12 * 21 * 13)
        for (symbol, root, bass, notes), answer in zip(cases, ask("chord " + case[0] for case in cases)):
            self.assertEqual(numbers(answer), [root.pitchClass, bass.pitchClass, *sorted(notes)], symbol)

    def test_notes_of_the_richer_symbols(self):
        cases = []
        for root in ROOTS:
            for kind, theirs in RICHER.items():
                pitches = harmony.ChordSymbol(root + theirs).pitches
                notes = classes(pitches)
                lowest = pitch.Pitch(root).pitchClass
                if kind in THIRTEENTHS:
                    notes = notes - {(lowest + 5) % 12}
                self.assertEqual(len(notes), len(classes(pitches)) - (kind in THIRTEENTHS))
                symbol = root.replace("-", "b") + kind
                cases.append((symbol, lowest, lowest, notes))
                cases.append((symbol + "/E", lowest, 4, notes | {4}))
        self.assertEqual(len(cases), 12 * len(RICHER) * 2)
        for (symbol, root, bass, notes), answer in zip(cases, ask("chord " + case[0] for case in cases)):
            self.assertEqual(numbers(answer), [root, bass, *sorted(notes)], symbol)

    def test_alterations_in_brackets_and_signs(self):
        same = [("C7(b9)", "7b9"), ("C7(#5)", "7#5"), ("C(add9)", "add9"), ("C7(♭9)", "7b9"), ("C7(♯9)", "7#9")]
        for (symbol, theirs), answer in zip(same, ask("chord " + symbol for symbol, _ in same)):
            self.assertEqual(set(numbers(answer)[2:]), classes(harmony.ChordSymbol("C" + theirs).pitches), symbol)

    def test_other_spellings_of_the_same_chords(self):
        # All that music21 writes for our kinds, but for two that charts do not have.
        known = {ours: set(harmony.getAbbreviationListGivenChordType(kind)) for ours, (_, kind) in KINDS.items() if kind}
        spelled = [(ours, spelling) for ours, spellings in known.items() for spelling in sorted(spellings)]
        self.assertGreater(len(spelled), 35)
        answers = ask("chord C" + spelling for _, spelling in spelled)
        unread = {spelling for (_, spelling), answer in zip(spelled, answers) if answer == "none"}
        self.assertEqual(unread, {"m#7", "power"})
        for (ours, spelling), answer in zip(spelled, answers):
            if spelling not in unread:
                self.assertEqual(set(numbers(answer)[2:]), classes(built("C", ours)), spelling)


class Recognition(unittest.TestCase):
    def explain(self, differences, listed_, cases):
        """`differences`: (what differs, reason or None) for each. Fails for one without a reason."""
        unexplained = Counter(what for what, reason in differences if reason is None)
        self.assertFalse(unexplained, "differences for no listed reason")
        self.assertEqual(Counter(reason for _, reason in differences), Counter(listed_))
        agreed = cases - len(differences)
        print(f"{self.id()}: {agreed} of {cases} agree ({agreed / cases:.1%}), the rest for reasons listed")

    def test_against_the_symbol(self):
        cases = list(handfuls())
        differences = []
        for (root, kind, bass, _), ours in zip(cases, named(case[3] for case in cases)):
            if ours == (root, (root + bass) % 12, kind):
                continue
            found = ours and (ours[2], (ours[0] - root) % 12, (ours[1] - root) % 12)
            like = AGAINST_SYMBOL.get((kind, bass))
            right = like and found == (*like[:2], bass)
            differences.append(((kind, bass, found), like[2] if right else None))
        self.assertEqual(len(cases), 4656)
        self.explain(differences, {BY_BASS: 480, SUSPENDED: 144, EVEN: 276}, len(cases))

    def test_against_music21s_own_analysis(self):
        seventh = "the reference always prefers the seventh chord to the sixth chord on the bass"
        spelling = "it divides the octave evenly: the reference takes the root from the spelling, which keys have not"
        unknown = "the reference has no name for it, or takes a suspended chord's fifth for its root"
        added = "the reference calls an added ninth an addition to the triad, or a triad over a foreign bass"
        cases = list(handfuls())
        differences = []
        for (_, _, _, held), ours in zip(cases, named(case[3] for case in cases)):
            whole = chord.Chord(held)
            figure, kind = harmony.chordSymbolFigureFromChord(whole, True)
            theirs = (whole.root().pitchClass, whole.bass().pitchClass, kind)
            root, bass, name = ours
            if theirs == (root, bass, KINDS[name][1]):
                continue
            self.assertEqual(bass, theirs[1])
            way = (theirs[0] - root) % 12
            reason = {
                ("6", "minor-seventh", 9): seventh,
                ("m6", "half-diminished-seventh", 9): seventh,
                ("aug", "augmented", 4): spelling,
                ("aug", "augmented", 8): spelling,
                ("dim7", "diminished-seventh", 3): spelling,
                ("dim7", "diminished-seventh", 6): spelling,
                ("dim7", "diminished-seventh", 9): spelling,
                ("7sus4", "", 7): unknown,
                ("sus4", "suspended-fourth", 7): unknown,
                ("add9", "major", 0): added,
                ("m(add9)", "minor", 0): added,
            }.get((name, kind, way))
            differences.append(((name, figure, kind, way), reason))
        self.explain(differences, {seventh: 240, spelling: 276, unknown: 336, added: 480}, len(cases))

    def test_without_the_fifth(self):
        # Music21 builds the chord, its perfect fifth is taken out; of these the bass never is.
        cases = []
        for root in ROOTS:
            for kind in WITHOUT_FIFTH:
                pitches = built(root, kind)
                rest = [p for p in pitches if (p.pitchClass - pitches[0].pitchClass) % 12 != 7]
                self.assertEqual(len(rest), len(pitches) - 1)
                cases += [(pitches[0].pitchClass, kind, inverted(rest, times)) for times in range(len(rest))]
        differences = []
        for (root, kind, held), ours in zip(cases, named(case[2] for case in cases)):
            if ours != (root, held[0].pitchClass, kind):
                differences.append(((kind, ours), None))
        self.explain(differences, {}, len(cases))

    def test_over_a_foreign_bass(self):
        same = "with the bass it is a chord by itself"
        even = "the chord over the bass divides the octave evenly: the root is the nearest above the bass"
        cases = []
        for root in ROOTS:
            for kind in OVER_FOREIGN_BASS:
                pitches = built(root, kind)
                for bass in range(12):
                    if bass not in classes(pitches):
                        cases.append((pitches[0].pitchClass, kind, [pitch.Pitch(midi=24 + bass), *pitches]))
        differences = []
        for (root, kind, held), ours in zip(cases, named(case[2] for case in cases)):
            bass = held[0].pitchClass
            if ours == (root, bass, kind):
                continue
            reason = None
            if self.is_exactly(ours, held):
                reason = same
            elif kind in ("aug", "dim7") and ours[1:] == (bass, kind) and ours[0] in classes(held[1:]):
                nearest = min((other.pitchClass - bass) % 12 for other in held[1:])
                reason = even if (ours[0] - bass) % 12 == nearest else None
            differences.append(((kind, (bass - root) % 12, ours), reason))
        self.assertEqual(len(cases), 12 * (5 * 8 + 4 * 9))
        self.explain(differences, {same: 324, even: 84}, len(cases))

    def is_exactly(self, ours, held):
        """Whether music21 builds the chord that we name of exactly the held notes, with the lowest as bass."""
        if ours is None or ours[1] != held[0].pitchClass:
            return False
        return classes(built(ROOTS[ours[0]], ours[2])) == classes(held)

    def test_what_is_no_chord(self):
        # A single note, and neighbours on the keyboard: not chords by any book.
        silent = [[60], [60, 72], [60, 61], [60, 62], [60, 61, 62], [60, 61, 62, 63, 64], list(range(60, 72))]
        self.assertEqual(ask("name " + listed(keys) for keys in silent), ["none"] * len(silent))


if __name__ == "__main__":
    unittest.main()
