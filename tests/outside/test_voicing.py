"""Least movement from chord to chord (R11), against a search through everything, and the followed root of chorales."""

import itertools
import random
import unittest
from collections import Counter

from music21 import chord, corpus

from theory import ask, listed, numbers


def ways(larger, smaller):
    """Every way to go from each note of the larger to one of the smaller, in order, none left out."""
    for cuts in itertools.combinations(range(1, len(larger)), len(smaller) - 1):
        edges = [0, *cuts, len(larger)]
        yield [(note, smaller[to]) for to, (a, b) in enumerate(zip(edges, edges[1:])) for note in larger[a:b]]


def movement(a, b):
    larger, smaller = (a, b) if len(a) >= len(b) else (b, a)
    return min(sum(abs(x - y) for x, y in way) for way in ways(larger, smaller))


def positions(classes, low, high):
    """Every close position inside the range: one note for each class, all within less than an octave."""
    places = [[note for note in range(low, high + 1) if note % 12 == c] for c in classes]
    for notes in itertools.product(*places):
        if max(notes) - min(notes) < 12:
            yield sorted(notes)


def led(before, classes, low, high, bass=None):
    every = list(positions(classes, low, high))
    lowest = [notes for notes in every if notes[0] % 12 == bass]
    return min(lowest or every, key=lambda notes: (movement(before, notes), notes))


class LeastMovement(unittest.TestCase):
    def test_movement_against_every_way(self):
        chance = random.Random(2006)
        pairs = [[sorted(chance.sample(range(36, 85), chance.randint(1, 7))) for _ in range(2)] for _ in range(3000)]
        answers = ask(f"movement {listed(a)}, {listed(b)}" for a, b in pairs)
        self.assertEqual([int(answer) for answer in answers], [movement(a, b) for a, b in pairs])

    def test_leading_against_every_position(self):
        chance = random.Random(72)
        cases = []
        for _ in range(3000):
            low = chance.randint(36, 60)
            before = sorted(chance.sample(range(low - 5, low + 30), chance.randint(1, 5)))
            classes = chance.sample(range(12), chance.randint(1, 5))
            bass = chance.choice([None, *range(12)])
            cases.append((before, classes, low, low + chance.randint(11, 24), bass))
        answers = ask(
            f"lead {listed(before)}, {listed(classes)}, {low} {high}, {'' if bass is None else bass}"
            for before, classes, low, high, bass in cases
        )
        for case, answer in zip(cases, answers):
            self.assertEqual(numbers(answer), led(*case), case)

    def test_published_distances(self):
        # Tymoczko, "The Geometry of Musical Chords", Science 313 (2006) 72–74, and his example of 2009: taxicab sums.
        self.assertEqual(ask(["movement 60 64 67, 60 65 69", "movement 60 64 67, 60 65 68"]), ["3", "2"])

    def test_distances_between_triads(self):
        # The least sums over all pairings of notes, octaves free, from C major to every major and minor triad, C to B:
        # computed here and once before elsewhere. Close positions in order reach every one of them.
        major = [0, 3, 6, 3, 2, 3, 6, 3, 2, 3, 6, 3]
        minor = [1, 2, 5, 4, 1, 2, 5, 4, 3, 2, 5, 4]
        for third, known in ((4, major), (3, minor)):
            triads = [[root, (root + third) % 12, (root + 7) % 12] for root in range(12)]
            free = [
                min(sum(abs((y - x + 6) % 12 - 6) for x, y in zip((0, 4, 7), order)) for order in itertools.permutations(t))
                for t in triads
            ]
            self.assertEqual(free, known)
            answers = ask(f"lead 60 64 67, {listed(triad)}, 48 80," for triad in triads)
            self.assertEqual([movement([60, 64, 67], numbers(answer)) for answer in answers], known)


class FollowedRoot(unittest.TestCase):
    """R11's root on whole chorales of J. S. Bach from music21's corpus, played as block chords."""

    # Every third of the 371 chorales in Riemenschneider's numbering.
    NUMBERS = range(1, 372, 3)

    def test_root_agrees_with_music21(self):
        self.assertGreaterEqual(len(self.NUMBERS), 100)
        names = list(corpus.chorales.Iterator(numberingSystem="riemenschneider", returnType="filename"))
        chords = []
        for number in self.NUMBERS:
            struck = corpus.parse(names[number - 1]).chordify().flatten().getElementsByClass(chord.Chord)
            chords += [(block, sorted({p.midi for p in block.pitches})) for block in struck]
        roots = ask("root " + listed(held) for _, held in chords)
        self.assertEqual(len(chords), 10998)
        # What the reference can name: triads and sevenths that are complete. It knows the root of a chord that divides
        # the octave evenly, and of an augmented sixth, by the spelling alone, which keys have not.
        by_spelling = {"augmented triad", "diminished seventh chord"}
        named = spelled = 0
        differing = Counter()
        for (block, held), root in zip(chords, roots):
            if not (block.isTriad() or block.isSeventh()):
                continue
            if block.commonName in by_spelling or "augmented sixth" in block.commonName:
                spelled += 1
                continue
            named += 1
            if int(root) % 12 != block.root().pitchClass:
                differing[block.commonName] += 1
        self.assertEqual((named, spelled), (8309, 174))
        # Why they differ: a seventh chord whose notes are also a sixth chord of its third, with that or its fifth or
        # seventh in the bass, and a major seventh chord with an augmented fifth, which holds a major triad on its third.
        self.assertEqual(
            differing,
            {"minor seventh chord": 173, "half-diminished seventh chord": 151, "augmented major tetrachord": 29},
        )
        agreeing = named - differing.total()
        print(f"{self.id()}: {agreeing} of {named} agree ({agreeing / named:.2%}), {spelled} have their root by spelling")
        self.assertGreaterEqual(agreeing, 0.95 * named)


if __name__ == "__main__":
    unittest.main()
