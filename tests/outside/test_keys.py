"""Keys and their ways, against music21's keys, intervals and pitches."""

import unittest

from music21 import interval, key, pitch

from concert import Concert, gear_of, off, on, take

GEAR = gear_of("piano", "grand")
ZONE = '[[zone]]\nsound = "grand"\n'
# Every key that a signature of at most seven sharps or flats can write, as music21 names its tonic.
SIGNATURES = range(-7, 8)
PLAYED = [60, 61, 66, 71]


def tonics(mode):
    return [key.KeySignature(sharps).asKey(mode).tonic for sharps in SIGNATURES]


def name(tonic, mode):
    """As maps write it: b for a flat, m for minor."""
    return tonic.name.replace("-", "b") + ("m" if mode == "minor" else "")


def folded(semitones, lowest):
    """Semitones modulo twelve, from `lowest` to `lowest` + 11."""
    return (semitones - lowest) % 12 + lowest


class Shifts(unittest.TestCase):
    def replay(self, pairs, mode, extra=""):
        """What `PLAYED` sounds as in a song for each pair of tonics (play-in, tonight)."""
        song = f'title = "Any"\nkey = "{name(pairs[0][1], mode)}"\n' + ZONE
        entries = [
            f'map = "any.toml"\ntitle = "Number {n}"\nplay_in = "{name(a, mode)}"\nkey = "{name(b, mode)}"\n{extra}'
            for n, (a, b) in enumerate(pairs)
        ]
        events = []
        for n in range(len(pairs)):
            events.append((n * 100, f"song {n + 1}"))
            for place, played in enumerate(PLAYED):
                events += [(n * 100 + place * 20, on(played)), (n * 100 + place * 20 + 10, off(played))]
        with Concert(GEAR, {"any": song}, entries) as concert:
            out = concert.replay(take(events))["piano"]
        heard = {}
        for tick, struck, note, _ in out.notes():
            if struck:
                heard.setdefault(tick // 100, []).append(note)
        return [heard.get(n, []) for n in range(len(pairs))]

    def check(self, pairs, mode, lowest, extra=""):
        for (a, b), heard in zip(pairs, self.replay(pairs, mode, extra)):
            way = folded(interval.Interval(a, b).semitones, lowest)
            moved = interval.ChromaticInterval(way)
            expected = [pitch.Pitch(midi=played).transpose(moved).midi for played in PLAYED]
            self.assertEqual(heard, expected, f"{name(a, mode)} to {name(b, mode)}")

    def test_nearest_way_between_all_keys(self):
        # R5: −5 … +6.
        for mode in ("major", "minor"):
            tonic = tonics(mode)
            self.check([(a, b) for a in tonic for b in tonic], mode, -5)

    def test_ways_up_and_down_between_all_keys(self):
        # R5: up 0 … 11, down −11 … 0.
        for mode in ("major", "minor"):
            tonic = tonics(mode)
            pairs = [(a, b) for a in tonic for b in tonic]
            self.check(pairs, mode, 0, 'shift = "up"\n')
            self.check(pairs, mode, -11, 'shift = "down"\n')

    def test_keys_that_no_signature_can_write(self):
        # A letter, # or b, and m, all of them: G# major too.
        every = [pitch.Pitch(letter + sign) for letter in "CDEFGAB" for sign in ("", "#", "-")]
        for mode in ("major", "minor"):
            self.check([(a, every[(3 * n + 5) % 21]) for n, a in enumerate(every)], mode, -5)

    def test_fingers_in_the_scale_sound_in_the_scale(self):
        # From one key's scale to the other's, by music21's own scales.
        for mode in ("major", "minor"):
            tonic = tonics(mode)
            home = key.Key("C" if mode == "major" else "a")
            pairs = [(home.tonic, b) for b in tonic]
            played = {p.pitchClass for p in home.pitches}
            for (_, b), heard in zip(pairs, self.replay(pairs, mode)):
                scale = {p.pitchClass for p in key.Key(b.name, mode).pitches}
                for note, finger in zip(heard, PLAYED):
                    self.assertEqual(note % 12 in scale, finger % 12 in played, f"{finger} in {name(b, mode)}")

    def test_raised_key_of_bwv_269(self):
        # The soprano's opening of BWV 269 in G, fourth up to C: G4 G4 D5 B4 A4 G4 becomes C5 C5 G5 E5 D5 C5.
        soprano = ["G4", "G4", "D5", "B4", "A4", "G4"]
        keys = [pitch.Pitch(p).midi for p in soprano]
        events = [e for n, k in enumerate(keys) for e in ((n * 20, on(k)), (n * 20 + 10, off(k)))]
        song = 'title = "Chorale"\nkey = "G"\n' + ZONE
        with Concert(GEAR, {"any": song}, ['map = "any.toml"\nkey = "C"\nplay_in = "G"\n']) as concert:
            out = concert.replay(take(events))["piano"]
        found = [note for _, struck, note, _ in out.notes() if struck]
        self.assertEqual(found, [pitch.Pitch(p).transpose("P4").midi for p in soprano])
        self.assertEqual(found, [72, 72, 79, 76, 74, 72])


if __name__ == "__main__":
    unittest.main()
