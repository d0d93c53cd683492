"""Whole chorales of J. S. Bach from music21's corpus, played on one keyboard through a split, a layer and a key.

At every moment each output must sound exactly what plain arithmetic on music21's pitches says.
"""

import random
import unittest

from music21 import corpus, interval, key, pitch

from concert import Concert, off, on, states_changed, take

# Every seventh of the 371 chorales in Riemenschneider's numbering.
NUMBERS = range(1, 372, 7)
DIVISION = 10080

GEAR = """
[outputs.piano]
virtual = true
[outputs.strings]
virtual = true
[sounds.grand]
output = "piano"
channel = 1
[sounds.low]
output = "strings"
channel = 2
[sounds.pad]
output = "strings"
channel = 3
"""


def played(score):
    """A keyboard's note-ons and note-offs for all voices: (tick, on, key). Offs first where they coincide."""
    events = []
    for part in score.parts:
        for note in part.flatten().stripTies().notes:
            begin, length = note.offset * DIVISION, note.duration.quarterLength * DIVISION
            if length == 0:
                continue
            if begin != int(begin) or length != int(length):
                raise AssertionError(f"{note} at {note.offset} does not fall on a tick")
            for p in note.pitches:
                events += [(int(begin), True, p.midi), (int(begin + length), False, p.midi)]
    return sorted(events)


def keys_down(events):
    """Tick to the keys down from then on: a second on leaves a key down, the first off lets it up (R1, R2)."""
    down, states = set(), {}
    for tick, struck, number in events:
        (down.add if struck else down.discard)(number)
        states[tick] = frozenset(down)
    return states


def tonight(home, chance):
    """Another key of the same mode, as maps write it, and the way there from −5 to +6 (R5)."""
    sharps = chance.choice([n for n in range(-6, 7)])
    there = key.KeySignature(sharps).asKey(home.mode)
    way = (interval.Interval(home.tonic, there.tonic).semitones + 5) % 12 - 5
    return there, way


def written(k):
    return k.tonic.name.replace("-", "b") + ("m" if k.mode == "minor" else "")


class Chorales(unittest.TestCase):
    maxDiff = 2000

    def test_every_moment_of_every_chorale(self):
        chance = random.Random(269)
        names = list(corpus.chorales.Iterator(numberingSystem="riemenschneider", returnType="filename"))
        self.assertEqual(len(names), 371)
        done = 0
        for number in NUMBERS:
            name = names[number - 1]
            with self.subTest(name):
                score = corpus.parse(name)
                self.one(name, score, chance)
                done += 1
        self.assertGreaterEqual(done, 50)

    def one(self, name, score, chance):
        events = played(score)
        self.assertGreater(len(events), 100, name)
        home = score.analyze("key")
        there, way = tonight(home, chance)
        split = chance.randint(52, 67)
        octave = chance.choice([-2, -1, 1, 2])
        song = (
            f'title = "Chorale"\nkey = "{written(home)}"\n'
            f'[[zone]]\nsound = "low"\nkeys = [0, {split - 1}]\noctave = -1\n'
            f'[[zone]]\nsound = "grand"\nkeys = [{split}, 127]\n'
            # The same place again, an octave higher: keys an octave apart share notes.
            f'[[zone]]\nname = "bright"\nsound = "grand"\nkeys = [{split}, 127]\noctave = 1\n'
            f'[[zone]]\nsound = "pad"\noctave = {octave}\nfollow_key = false\n'
        )
        entry = f'map = "one.toml"\nkey = "{written(there)}"\nplay_in = "{written(home)}"'
        keyboard = [(tick, on(number) if struck else off(number)) for tick, struck, number in events]
        with Concert(GEAR, {"one": song}, [entry]) as concert:
            out = concert.replay(take(keyboard, division=DIVISION))
        moved = interval.ChromaticInterval(way)
        higher = interval.ChromaticInterval(12)

        def sounding(number):
            return pitch.Pitch(midi=number).transpose(moved)

        def expected(voice):
            return states_changed({tick: frozenset(voice(down)) for tick, down in keys_down(events).items()})

        self.assertEqual(
            states_changed(out["strings"].sounding(2)),
            expected(lambda down: (sounding(n).midi - 12 for n in down if n < split)),
        )
        self.assertEqual(
            states_changed(out["piano"].sounding(1)),
            expected(
                lambda down: [sounding(n).midi for n in down if n >= split]
                + [sounding(n).transpose(higher).midi for n in down if n >= split]
            ),
        )
        self.assertEqual(
            states_changed(out["strings"].sounding(3)),
            expected(lambda down: (n + 12 * octave for n in down)),
        )
        for output, channel in (("piano", 1), ("strings", 2), ("strings", 3)):
            self.assertFalse(list(out[output].sounding(channel).values())[-1], "silent at the end")


if __name__ == "__main__":
    unittest.main()
