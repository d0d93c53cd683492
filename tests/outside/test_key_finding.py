"""Which key a take is in, beside music21's own analysis of the same notes by the same published profiles.

Chorales of J. S. Bach, tunes of Ryan's Mammoth Collection (1883) and of O'Neill's Music of Ireland (1903), as music21 carries
them. How often the notated key is found is printed, for both programs; it says more of the music than of either.
"""

import subprocess
import tempfile
import unittest
from pathlib import Path

from music21 import analysis, corpus, key

from concert import HANDSPAN, file_bytes, take
from test_chorales import written

DIVISION = 480


def chorales():
    names = list(corpus.chorales.Iterator(numberingSystem="riemenschneider", returnType="filename"))
    return [corpus.parse(names[number]) for number in range(4, 371, 14)]


def ryan():
    paths = sorted(path for path in corpus.getCorePaths() if "ryansMammoth" in str(path))
    return [corpus.parse(path) for path in paths[::30]]


def oneill():
    return list(corpus.parse("oneills1850/0001-0050.abc").scores)[::2]


def notes_of(score):
    """All notes as (start, length, MIDI number) in quarter notes; what lasts no time is left out."""
    notes = score.flatten().notes
    return [(n.offset, n.quarterLength, p.midi) for n in notes if n.quarterLength > 0 for p in n.pitches]


def notated(score):
    """The notated key; of a signature alone the major or the minor key whose tonic is the last bass note."""
    first = next(iter(score.recurse().getElementsByClass(key.KeySignature)), None)
    if isinstance(first, key.Key):
        return first
    if first is None:
        return None
    last = min(list(score.flatten().notes)[-1].pitches)
    pair = [first.asKey("major"), first.asKey("minor")]
    return next((one for one in pair if one.tonic.pitchClass == last.pitchClass), pair[0])


def found_by_us(notes, folder):
    events = []
    for begin, length, number in notes:
        ticks = round(begin * DIVISION), round((begin + length) * DIVISION)
        events += [(ticks[0], 1, bytes([0x90, number, 64])), (ticks[1], 0, bytes([0x80, number, 64]))]
    played = take([(tick, message) for tick, _, message in sorted(events)], division=DIVISION)
    path = Path(folder) / "take.mid"
    path.write_bytes(file_bytes(played))
    done = subprocess.run([str(HANDSPAN), "key", str(path)], capture_output=True, text=True, timeout=60, check=True)
    return done.stdout.split()[0]


def same(name, other):
    """Whether two names say the same key, however it is spelled."""
    made = [key.Key(one.rstrip("m").replace("b", "-"), "minor" if one.endswith("m") else "major") for one in (name, other)]
    return made[0].tonic.pitchClass == made[1].tonic.pitchClass and made[0].mode == made[1].mode


class KeyFinding(unittest.TestCase):
    def test_beside_music21(self):
        with tempfile.TemporaryDirectory(prefix="handspan-key-") as folder:
            for name, scores in (("chorales", chorales()), ("Ryan", ryan()), ("O'Neill", oneill())):
                alike = right = theirs_right = asked = keyed = 0
                for score in scores:
                    notes = notes_of(score)
                    if not notes:
                        continue
                    asked += 1
                    ours = found_by_us(notes, folder)
                    theirs = written(analysis.discrete.KrumhanslKessler().getSolution(score))
                    alike += same(ours, theirs)
                    if wanted := notated(score):
                        keyed += 1
                        right += same(ours, written(wanted))
                        theirs_right += same(theirs, written(wanted))
                print(f"\n{name}: {alike} of {asked} as music21 says; the notated key {right} of {keyed}, music21 {theirs_right}")
                with self.subTest(name):
                    self.assertGreaterEqual(asked, 20)
                    self.assertEqual(alike, asked)


if __name__ == "__main__":
    unittest.main()
