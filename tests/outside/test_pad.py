"""Pads that follow whole chorales, and wrong notes put right, through `handspan replay` (R10, R11, R12).

The chorales are music21's, played as block chords: all keys of a chord down together and up together, equally loud. When
a pad follows such a chord, and with which notes, is told here once more from the rules; which chords have a name, and the
scales, come from music21.
"""

import itertools
import random
import unittest
from collections import Counter

from music21 import chord, corpus, harmony, interval, key, scale

from concert import Concert, gear_of, off, on, states_changed, take
from test_voicing import led

# One tick is one millisecond: 500 ticks to a quarter at 120 to the minute, where a take says no tempo. The chorales go
# at half that speed.
DIVISION, QUARTER = 500, 1000
GATHER = 45
# R11: where a finger may still be to come, until then from the first one; and where a key may have been brushed.
SLOWEST, DOUBT = 60, 150
MIN_KEYS = 3
WITHIN = (48, 71)

GEAR = gear_of("pads", "fifths", "chords", "stays")
FOLLOWING = f"""
title = "Chorale"
key = "C"
[[zone]]
sound = "fifths"
plays = "root-fifth"
linger = "next"
min_keys = {MIN_KEYS}
within = {list(WITHIN)}
[[zone]]
sound = "chords"
plays = "chord"
linger = "next"
min_keys = {MIN_KEYS}
within = {list(WITHIN)}
"""


def blocks(score):
    """(tick of the start, tick of the end, keys) of each block chord."""
    for block in score.chordify().flatten().getElementsByClass(chord.Chord):
        begin, length = block.offset * QUARTER, block.duration.quarterLength * QUARTER
        if length == 0:
            continue
        if begin != int(begin) or length != int(length) or length <= GATHER:
            raise AssertionError(f"{block} at {block.offset} is not a whole number of ticks, or shorter than gather")
        yield int(begin), int(begin + length), sorted({p.midi for p in block.pitches})


def folded(note):
    """Into the range by octaves, the nearest place (R4)."""
    low, high = WITHIN
    while note < low:
        note += 12
    while note > high:
        note -= 12
    return note


def root(keys):
    """R11's followed root, told once more."""
    has = {k % 12 for k in keys}

    def points(k):
        def above(step):
            return (k + step) % 12 in has

        fifth = 8 if above(7) else 6 if above(3) and above(6) else 0
        third = 4 if above(3) or above(4) else 0
        seventh = 4 if above(11) else 2 if above(10) else 0
        return fifth + third + seventh + (3 if k == keys[0] else 0)

    lowest = [k for at, k in enumerate(keys) if k % 12 not in {other % 12 for other in keys[:at]}]
    return max(lowest, key=lambda k: (points(k), -k))


def fifth(keys):
    """Semitones from the root to the fifth that is there; None where there is none."""
    above = {(k - root(keys)) % 12 for k in keys}
    return next((step for step in (7, 6, 8) if step in above), None)


def kinds(figures):
    """The pitch classes of chords on C, as music21 reads their symbols."""
    return [frozenset(p.pitchClass for p in harmony.ChordSymbol(f"C{figure}").pitches) for figure in figures]


# R11: triads, suspended chords and sevenths, the dominant and the minor one also without their fifth; and with these the
# sevenths over a suspended fourth and the ninths. Sixth chords are turned sevenths.
SEVENTHS = kinds(["", "m", "dim", "+", "sus4", "sus2", "7", "m7", "maj7", "mM7", "dim7", "m7b5"])
SEVENTHS += [kind - {7} for kind in kinds(["7", "m7"])]
NAMED = SEVENTHS + kinds(["7sus4", "9", "m9", "M9", "add9"]) + [kinds(["add9"])[0] - {4} | {3}]


def is_one_of(keys, chords):
    return any(frozenset((k - low) % 12 for k in keys) in chords for low in range(12))


def neighbours(keys):
    return list(zip(keys, keys[1:]))


def lower_hand(keys):
    """The keys below the first gap of 5 semitones that are a chord within an octave; all of them where there is none."""
    for low, high in neighbours(keys):
        below = [k for k in keys if k <= low]
        if high - low >= 5 and len(below) >= MIN_KEYS and low - below[0] <= 12 and is_one_of(below, SEVENTHS):
            return below
    return keys


class Followed:
    """One decision: when, from which keys, and why then."""

    def __init__(self, begin, keys, known):
        """Of `keys`, which are struck together; of `known` was decided last."""
        self.keys, wait = lower_hand(keys), GATHER
        self.why = "two hands" if self.keys != keys else "as gather is over"
        if len(keys) < MIN_KEYS:
            self.why, wait = "bare fifth", GATHER + SLOWEST
        elif len(keys) < len(known):
            self.why, wait = "fewer keys than before", SLOWEST
        elif self.keys == keys and any(high - low >= 7 for low, high in neighbours(keys)):
            self.why, wait = "a wide gap", SLOWEST
        if len(keys) >= MIN_KEYS and not is_one_of(keys, NAMED) and any(b - a <= 2 for a, b in neighbours(keys)):
            self.why, wait = "a doubtful neighbour", DOUBT
        self.at = begin + wait


def decisions(struck):
    """What a pad decides of block chords: alone, two keys are a chord as a fifth or fourth, fewer are none."""
    known, found = [], []
    for (begin, _, keys), (following, *_) in zip(struck, [*struck[1:], (float("inf"),)]):
        if len(keys) < MIN_KEYS and not (len(keys) == 2 and (keys[1] - keys[0]) % 12 in (5, 7)):
            continue
        followed = Followed(begin, keys, known)
        if followed.at > following:
            raise AssertionError(f"the chord after the one at {begin} comes before anything is decided")
        found.append(followed)
        known = followed.keys
    return found


class Chorales(unittest.TestCase):
    maxDiff = 2000
    # Every third of the 371 chorales in Riemenschneider's numbering.
    NUMBERS = range(1, 372, 3)

    def test_pads_follow_and_hold_no_foreign_note(self):
        self.assertGreaterEqual(len(self.NUMBERS), 100)
        names = list(corpus.chorales.Iterator(numberingSystem="riemenschneider", returnType="filename"))
        why, implied = Counter(), 0
        for number in self.NUMBERS:
            with self.subTest(names[number - 1]):
                struck = list(blocks(corpus.parse(names[number - 1])))
                followed = decisions(struck)
                why.update(decision.why for decision in followed)
                implied += self.one(struck, followed)
        print(f"{self.id()}: {why.total()} chords followed, {implied} of them without a fifth of their root, {dict(why)}")
        # Of 10,998 blocks, the other 34 are single keys and pairs that are no fifth. The pads follow the lower hand also
        # where the fifth is in the upper one.
        self.assertEqual((why.total(), implied), (10964, 710))
        self.assertEqual(
            why,
            {
                "as gather is over": 419,
                "two hands": 1424,
                "a wide gap": 8330,
                "fewer keys than before": 555,
                "a doubtful neighbour": 231,
                "bare fifth": 5,
            },
        )

    def one(self, struck, followed):
        events = []
        for begin, end, keys in struck:
            events += [(begin, on(k)) for k in keys] + [(end, off(k)) for k in keys]
        # Where chords meet, the old one's keys come up first.
        events.sort(key=lambda event: (event[0], event[1][0] >> 4 == 9))
        with Concert(GEAR, {"one": FOLLOWING}, ['map = "one.toml"']) as concert:
            out = concert.replay(take(events, division=DIVISION))["pads"]
        fifths, chords = self.expected(followed)
        end = max(tick for tick, *_ in out.notes(1))
        for channel, expected in ((1, fifths), (2, chords)):
            heard = states_changed(out.sounding(channel))
            self.assertEqual(heard.pop(end), frozenset(), "silent at the end and not before")
            self.assertEqual(heard, states_changed(expected))
            # Common tones are not struck again.
            strikes = sum(struck_ for _, struck_, *_ in out.notes(channel))
            states = [frozenset(), *heard.values()]
            self.assertEqual(strikes, sum(len(new - old) for old, new in zip(states, states[1:])))
        return self.foreign(followed, out)

    def expected(self, followed):
        """What each pad holds from each decision on."""
        fifths, chords = {}, {}
        before = None
        for decision in followed:
            keys = decision.keys
            fifths[decision.at] = frozenset({folded(root(keys)), folded(root(keys) + (fifth(keys) or 7))})
            before = led(before or keys, sorted({k % 12 for k in keys}), *WITHIN)
            chords[decision.at] = frozenset(before)
        return fifths, chords

    def foreign(self, followed, out):
        """No pitch class sounds from a decision to the next that is not in the chord. The chords without a fifth."""
        implied = 0
        for channel in (1, 2):
            states = sorted(out.sounding(channel).items())
            ends = [*(decision.at for decision in followed[1:]), states[-1][0]]
            for decision, end in zip(followed, ends):
                begin, keys = decision.at, decision.keys
                now = [notes for tick, notes in states if tick <= begin][-1:]
                held = set().union(*now, *(notes for tick, notes in states if begin < tick < end))
                self.assertTrue(held)
                foreign = {note % 12 for note in held} - {k % 12 for k in keys}
                if channel == 1 and fifth(keys) is None:
                    # R11: where the chord has no fifth of any kind, the perfect one sounds.
                    implied += 1
                    foreign.discard((root(keys) + 7) % 12)
                self.assertEqual(foreign, set(), f"at {begin} over {keys}")
        return implied


class StayInKey(unittest.TestCase):
    """Ten thousand random wrong notes with `stay_in_key = "nearest"`."""

    WRONG = 10_000
    MAP = '\n[[zone]]\nsound = "stays"\nstay_in_key = "nearest"\n'

    def songs(self):
        """For every key that a signature can write: its name, what fits it by music21, another key to sound in."""
        chance = random.Random(12)
        for mode in ("major", "minor"):
            for sharps in range(-7, 8):
                home = key.KeySignature(sharps).asKey(mode)
                there = key.KeySignature(chance.randint(-7, 7)).asKey(mode)
                yield home, self.fitting(home), there

    def fitting(self, home):
        """R12: the scale, and in minor the raised seventh."""
        kinds = [scale.MajorScale] if home.mode == "major" else [scale.MinorScale, scale.HarmonicMinorScale]
        return {p.pitchClass for kind in kinds for p in kind(home.tonic).getPitches()}

    def written(self, home):
        return home.tonic.name.replace("-", "b") + ("m" if home.mode == "minor" else "")

    def nearest(self, wrong, fits, held):
        """The closest that fits; of two, the one whose pitch class the held key has, else the lower (R12)."""
        for off_by in itertools.count(1):
            found = [note for note in (wrong - off_by, wrong + off_by) if note % 12 in fits]
            if found:
                return next((note for note in found if held is not None and note % 12 == held % 12), found[0])

    def test_every_output_is_in_the_scale_and_near(self):
        chance = random.Random(10_000)
        songs = list(self.songs())
        entries = [
            f'map = "any.toml"\ntitle = "Number {n}"\nplay_in = "{self.written(home)}"\nkey = "{self.written(there)}"'
            for n, (home, _, there) in enumerate(songs)
        ]
        files = {"any": 'title = "Any"\nkey = "C"\n' + self.MAP, "minor": 'title = "Any"\nkey = "Am"\n' + self.MAP}
        entries = [
            entry.replace("any.toml", "minor.toml") if home.mode == "minor" else entry
            for entry, (home, _, _) in zip(entries, songs)
        ]
        events, expected = [], {}
        for number in range(self.WRONG):
            song = number * len(songs) // self.WRONG
            home, fits, there = songs[song]
            # R5: the nearest way, from −5 to +6.
            shift = (interval.Interval(home.tonic, there.tonic).semitones + 5) % 12 - 5
            begin = number * 100
            if number == 0 or (number - 1) * len(songs) // self.WRONG != song:
                events.append((begin, f"song {song + 1}"))
            wrong = chance.choice([k for k in range(24, 104) if k % 12 not in fits])
            held = chance.choice([None, *(k for k in range(wrong - 14, wrong + 15) if k % 12 in fits)])
            # Later than gather, so that a note that the held key sounds is struck again (R2).
            if held is not None:
                events += [(begin + 10, on(held)), (begin + 90, off(held))]
            events += [(begin + 60, on(wrong)), (begin + 80, off(wrong))]
            expected[begin + 60] = (wrong, shift, fits, held)
        events.sort(key=lambda event: event[0])
        with Concert(GEAR, files, entries) as concert:
            out = concert.replay(take(events, division=DIVISION))["pads"]
        sounding = out.sounding(3)
        heard = {}
        for tick, struck, note, _ in out.notes(3):
            if struck and tick in expected:
                heard.setdefault(tick, []).append(note)
        self.assertEqual(len(heard), self.WRONG)
        for tick, (wrong, shift, fits, held) in expected.items():
            (note,) = heard[tick]
            self.assertIn((note - shift) % 12, fits)
            self.assertLessEqual(abs(note - shift - wrong), 2)
            self.assertEqual(note - shift, self.nearest(wrong, fits, held), f"{wrong} beside {held}")
            # What the wrong key began ends as it comes up, and nothing is left after the held key.
            left = {held + shift} if held is not None else set()
            self.assertEqual(self.state(sounding, tick + 20), left)
            self.assertEqual(self.state(sounding, tick + 30), set())

    def state(self, sounding, tick):
        """What sounds at that tick: the last state within the hundred before it."""
        return next((sounding[at] for at in range(tick, tick - 100, -1) if at in sounding), frozenset())

    def test_notes_of_the_sections_chords_fit_too(self):
        # In C over E7 the G sharp is right, and in the section after it is not.
        song = (
            'title = "Any"\nkey = "C"\n' + self.MAP + '[[section]]\nname = "One"\nchords = "C | E7 | Am"\n'
            '[[section]]\nname = "Two"\nchords = "C | G"\n'
        )
        events = [(0, on(68)), (50, off(68)), (100, "section Two"), (200, on(68)), (250, off(68))]
        with Concert(GEAR, {"any": song}, ['map = "any.toml"']) as concert:
            out = concert.replay(take(events, division=DIVISION))["pads"]
        self.assertEqual([note for _, struck, note, _ in out.notes(3) if struck], [68, 67])


if __name__ == "__main__":
    unittest.main()
