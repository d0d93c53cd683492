"""Touch: every velocity through curves, against SciPy and the formulas of R6."""

import math
import random
import unittest

from scipy.interpolate import PchipInterpolator

from concert import Concert, off, on, take

VELOCITIES = range(1, 128)


def nearest(value):
    """Rounded half away from zero and clamped (R6); two answers where the value is within an error of a half."""
    def rounded(x):
        return max(1, min(127, math.floor(x + 0.5)))

    return {rounded(value - 1e-9), rounded(value + 1e-9)}


def bent(by, low=1.0, high=127.0):
    """`heavier = by`; below 0 `lighter = -by`."""
    exponent = 2 ** (by / 50)
    return lambda v: low + (high - low) * ((v - 1) / 126) ** exponent


def written(by):
    return f"lighter = {-by}" if by < 0 else f"heavier = {by}"


def points(pairs):
    curve = PchipInterpolator([x for x, _ in pairs], [y for _, y in pairs])
    return lambda v: float(curve(min(max(v, pairs[0][0]), pairs[-1][0])))


def answers(zones, input_curve=""):
    """The 127 velocities that come out of each zone (TOML lines for each), struck one after another."""
    gear = ""
    if input_curve:
        # Goes into the keyboard's table, which the gear begins with.
        gear += f"curve = {input_curve}\n"
    gear += "[outputs.a]\nvirtual = true\n[outputs.b]\nvirtual = true\n"
    song = 'title = "Touch"\nkey = "C"\n'
    places = [(output, channel) for output in "ab" for channel in range(1, 17)][: len(zones)]
    assert len(places) == len(zones)
    for number, ((output, channel), zone) in enumerate(zip(places, zones)):
        gear += f'[sounds.s{number}]\noutput = "{output}"\nchannel = {channel}\n'
        song += f'[[zone]]\nsound = "s{number}"\n{zone}\n'
    events = [event for v in VELOCITIES for event in ((v * 100, on(60, v)), (v * 100 + 50, off(60)))]
    with Concert(gear, {"touch": song}, ['map = "touch.toml"']) as concert:
        out = concert.replay(take(events))
    return [
        [velocity for _, struck, _, velocity in out[output].notes(channel) if struck] for output, channel in places
    ]


class Curves(unittest.TestCase):
    def compare(self, zones, expected, input_curve=""):
        for zone, curve, found in zip(zones, expected, answers(zones, input_curve)):
            self.assertEqual(len(found), 127, zone)
            for v, velocity in zip(VELOCITIES, found):
                self.assertIn(velocity, nearest(curve(v)), f"{zone}: {v}")

    def test_lighter_and_heavier(self):
        bends = [-100, -66, -50, -26, -21, -8, -1, 0, 7, 19, 29, 50, 66, 79, 100]
        zones = [f"curve = {{ {written(by)} }}" for by in bends]
        expected = [bent(by) for by in bends]
        for by, low, high in [(-26, 20, 110), (0, 30, 90), (50, 40, 41), (38, 1, 60), (-50, 64, 127)]:
            zones.append(f"curve = {{ {written(by)}, low = {low}, high = {high} }}")
            expected.append(bent(by, low, high))
        self.compare(zones, expected)

    def test_points_are_scipys_pchip(self):
        curves = [
            [(1, 40), (64, 80), (127, 110)],
            [(1, 1), (127, 127)],
            [(1, 1), (40, 40), (80, 40), (127, 127)],
            [(10, 5), (20, 100), (100, 101), (110, 127)],
            [(30, 64), (31, 65), (90, 65), (91, 120)],
            [(1, 127), (2, 127)],
            [(126, 1), (127, 127)],
        ]
        chance = random.Random(7)
        while len(curves) < 32:
            count = chance.randint(2, 9)
            xs = sorted(chance.sample(VELOCITIES, count))
            ys = sorted(chance.choices(VELOCITIES, k=count))
            curves.append(list(zip(xs, ys)))
        zones = [f"curve = {{ points = {[list(pair) for pair in pairs]} }}" for pairs in curves]
        self.compare(zones, [points(pairs) for pairs in curves])

    def test_always(self):
        self.compare([f"curve = {{ always = {v} }}" for v in (1, 64, 90, 127)], [lambda _, v=v: v for v in (1, 64, 90, 127)])

    def test_level(self):
        # R6: times 10^(level/40) after the curve, unrounded between.
        levels = [-24.0, -12.0, -6.0, -3.0, -1.5, 0.0, 1.5, 3.0, 6.0]
        zones = [f"level = {level}" for level in levels]
        expected = [lambda v, level=level: v * 10 ** (level / 40) for level in levels]
        curve = bent(-26)
        zones += [f"level = {level}\ncurve = {{ lighter = 26 }}" for level in levels]
        expected += [lambda v, level=level: curve(v) * 10 ** (level / 40) for level in levels]
        self.compare(zones, expected)

    def test_input_curve_is_rounded_before_the_zone(self):
        # R6: the input's curve, rounded and clamped, then the window, then the zone's curve.
        first, second = bent(34), bent(-50, 10, 120)
        zones = ["curve = { lighter = 50, low = 10, high = 120 }", "level = -3.0"]
        # No velocity of this curve is within an error of a half, so it has one answer.
        rounded = {v: nearest(first(v)) for v in VELOCITIES}
        self.assertTrue(all(len(answer) == 1 for answer in rounded.values()))
        one = {v: answer.pop() for v, answer in rounded.items()}
        expected = [lambda v: second(one[v]), lambda v: one[v] * 10 ** (-3 / 40)]
        self.compare(zones, expected, input_curve="{ heavier = 34 }")


if __name__ == "__main__":
    unittest.main()
