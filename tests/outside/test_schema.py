"""Reader and schema judge maps alike. Maps are changed at random; jsonschema judges each by docs/schema, the program by
reading it. Whatever the program takes, the schema takes too; whatever is wrong by its form alone, both refuse.
"""

import copy
import json
import pathlib
import random
import subprocess
import tempfile
import tomllib
import unittest

import jsonschema

from concert import HANDSPAN

ROOT = pathlib.Path(__file__).resolve().parents[2]
SCHEMAS = {
    kind: jsonschema.Draft202012Validator(json.loads((ROOT / f"docs/schema/{kind}.json").read_text()))
    for kind in ("gear", "song", "set")
}
MAPS = ROOT / "maps"
#: Changed maps that are judged in one go, and how often.
AT_ONCE, TIMES = 60, 40


def written(value):
    """A value as TOML writes it, tables in one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=True).replace("\x7f", "\\u007F")
    if isinstance(value, list):
        return "[" + ", ".join(written(item) for item in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(name)} = {written(item)}" for name, item in value.items()) + " }"
    return repr(value)


def text(table):
    return "".join(f"{json.dumps(name)} = {written(value)}\n" for name, value in table.items())


def places(value, path=()):
    """All tables and lists within a value, with the way to each."""
    if isinstance(value, dict):
        yield path, value
        for name, item in value.items():
            yield from places(item, (*path, name))
    elif isinstance(value, list):
        yield path, value
        for number, item in enumerate(value):
            yield from places(item, (*path, number))


#: Values of all types; some fit some fields.
VALUES = [
    True, False, 0, 1, 3, 64, 127, 128, -1, 700, 61000, 1.5, -8.0, 0.5, "", " ", "C", "Cm", "F#m", "H", "C4", "c4", "B#3",
    "grand", "Verse", "Chorus", "next", "off", "on", "follow", "nearest", "4/4", "4/5", "any", "received", "din", "play",
    "start", "x" * 200, "x" * 201, "panic", "send", "C | Am", [], ["C4", "C5"], ["C5", "C4"], [1, 5], [60, 72], [1], ["Verse"],
    [[1, 40], [127, 110]], {}, {"lighter": 30}, {"lighter": 30, "always": 9}, {"program": 5, "channel": 1},
    {"control": [7, 100]}, {"control": [7, 100], "channel": 1}, {"transport": "play"}, {"input": "keyboard", "control": 67},
    {"input": "keyboard", "note": "C8", "press": "long"}, {"7": 11},
]


def fields_of(kind):
    """The names of all fields that a kind of map may have somewhere."""
    schema = SCHEMAS[kind].schema
    tables = [schema, *schema["$defs"].values()]
    return sorted({name for table in tables for name in table["properties"]})


def changed(table, kind, chance):
    """A map with one to three things changed."""
    table = copy.deepcopy(table)
    names = fields_of(kind)
    for _ in range(chance.randint(1, 3)):
        _, place = chance.choice(list(places(table)))
        what = chance.random()
        if isinstance(place, dict):
            if what < 0.3 and place:
                del place[chance.choice(list(place))]
            elif what < 0.65 and place:
                place[chance.choice(list(place))] = copy.deepcopy(chance.choice(VALUES))
            else:
                place[chance.choice([*names, "louder"])] = copy.deepcopy(chance.choice(VALUES))
        elif what < 0.3 and place:
            place.pop(chance.randrange(len(place)))
        elif what < 0.7 and place:
            place[chance.randrange(len(place))] = copy.deepcopy(chance.choice(VALUES))
        else:
            place.append(copy.deepcopy(chance.choice(VALUES)))
    return table


def refused(folder, set_file):
    """The names of the files in which the program finds errors."""
    ran = subprocess.run([str(HANDSPAN), "check", set_file, "--json"], cwd=folder, capture_output=True, text=True)
    report = json.loads(ran.stdout)
    assert len(report["findings"]) < 1000, "not all were listed"
    wrong = {finding.get("file") for finding in report["findings"] if finding["level"] == "error"}
    return {pathlib.Path(name).name for name in wrong if name}


class Schema(unittest.TestCase):
    def judge(self, kind, judged):
        """Holds the judgements of many maps together: (its text, what it holds, whether the program refuses it)."""
        agreed = [0, 0]
        for words, table, is_refused in judged:
            faults = list(SCHEMAS[kind].iter_errors(table))
            if faults and not is_refused:
                self.fail(f"the program takes what the schema refuses ({faults[0].message}):\n{words}")
            agreed[bool(faults)] += 1
        return agreed

    def songs(self, folder, tables):
        """Whether each of these songs is refused."""
        gear = (MAPS / "gear.toml").read_text()
        (folder / "gear.toml").write_text(gear)
        names = [f"song-{number}.toml" for number in range(len(tables))]
        for name, table in zip(names, tables):
            (folder / name).write_text(text(table))
        entries = "".join(f'[[song]]\nmap = "{name}"\n' for name in names)
        (folder / "set.toml").write_text(f'title = "Tonight"\ngear = "gear.toml"\n{entries}')
        wrong = refused(folder, "set.toml")
        return [name in wrong for name in names]

    def test_what_the_demo_has_is_taken_by_the_schema(self):
        kinds = {"gear.toml": "gear", "midwinter.toml": "set"}
        for path in [*MAPS.glob("*.toml"), *MAPS.glob("songs/*.toml"), *(ROOT / "src/cli/new").glob("*.toml")]:
            kind = kinds.get(path.name, "set" if path.name == "set.toml" else "song")
            words = path.read_text().replace("\nINPUT\n", '\nport = "x"\n').replace("\nOUTPUT\n", "\nvirtual = true\n")
            faults = [fault.message for fault in SCHEMAS[kind].iter_errors(tomllib.loads(words))]
            self.assertEqual(faults, [], path)
            if path.is_relative_to(MAPS):
                named = (path.parent / words.splitlines()[0].removeprefix("#:schema ")).resolve()
                self.assertEqual(named, ROOT / f"docs/schema/{kind}.json", "its first line names its schema")

    def test_every_example_is_taken(self):
        for kind, validator in SCHEMAS.items():
            for table in [validator.schema, *validator.schema["$defs"].values()]:
                for name, field in table["properties"].items():
                    for example in field.get("examples", []):
                        alone = {key: value for key, value in field.items() if key != "examples"}
                        alone["$defs"] = validator.schema["$defs"]
                        faults = list(jsonschema.Draft202012Validator(alone).iter_errors(example))
                        self.assertEqual([fault.message for fault in faults], [], (kind, name, example))

    def test_songs_are_judged_alike(self):
        chance = random.Random(20261219)
        originals = [tomllib.loads(path.read_text()) for path in sorted(MAPS.glob("songs/*.toml"))]
        total = [0, 0]
        for _ in range(TIMES):
            with tempfile.TemporaryDirectory() as folder:
                tables = [changed(chance.choice(originals), "song", chance) for _ in range(AT_ONCE)]
                wrong = self.songs(pathlib.Path(folder), tables)
                agreed = self.judge("song", [(text(table), table, one) for table, one in zip(tables, wrong)])
                total = [sum(pair) for pair in zip(total, agreed)]
        self.assertGreater(min(total), TIMES * AT_ONCE // 20, total)

    def test_gear_and_set_are_judged_alike(self):
        chance = random.Random(20261220)
        gear = tomllib.loads((MAPS / "gear.toml").read_text())
        song = (MAPS / "songs/weir-gate.toml").read_text()
        tonight = {
            "title": "Tonight",
            "gear": "gear.toml",
            "singers": {"guest": {"range": ["G3", "D5"], "comfortable": ["A3", "B4"]}},
            "song": [{"map": "song.toml", "key": "Eb", "singer": "guest", "remark": "softly"}, {"title": "Welcome"}],
        }
        with tempfile.TemporaryDirectory() as folder:
            folder = pathlib.Path(folder)
            (folder / "song.toml").write_text(song)
            for kind, table in (("gear", gear), ("set", tonight)):
                judged = []
                for _ in range(TIMES * 10):
                    maps = {"gear": gear, "set": tonight, kind: changed(table, kind, chance)}
                    for name, one in maps.items():
                        (folder / f"{name}.toml").write_text(text(one))
                    judged.append((text(maps[kind]), maps[kind], f"{kind}.toml" in refused(folder, "set.toml")))
                agreed = self.judge(kind, judged)
                self.assertGreater(min(agreed), TIMES // 4, (kind, agreed))

    def test_what_is_wrong_by_its_form_both_refuse(self):
        song = {"title": "One", "key": "C", "zone": [{"sound": "grand"}], "section": [{"name": "Verse"}]}
        zone = lambda **fields: {**song, "zone": [{"sound": "grand", **fields}]}
        tables = [
            {"key": "C"}, {"title": "One"}, {**song, "louder": 1}, {**song, "title": ""}, {**song, "title": "x" * 201},
            {**song, "title": 3}, {**song, "key": "H"}, {**song, "tempo": 9}, {**song, "tempo": "fast"}, {**song, "number": 0},
            {**song, "meter": "four"}, {**song, "shift": "left"}, {**song, "order": []}, {**song, "zone": {"sound": "grand"}},
            {**song, "section": [{}]}, {**song, "send": [{"at": "enter", "to": "desk"}]},
            {**song, "send": [{"at": "enter", "to": "desk", "message": {}}]},
            {**song, "send": [{"at": "enter", "to": "desk", "message": {"program": 5}}]},
            {**song, "send": [{"at": "enter", "to": "desk", "message": {"program": 129, "channel": 1}}]},
            {**song, "cue": [{"do": "panic"}]}, {**song, "cue": [{"when": {"input": "keyboard"}, "do": "panic"}]},
            {**song, "cue": [{"when": {"input": "keyboard", "control": 120}, "do": "panic"}]},
            {**song, "cue": [{"when": {"input": "keyboard", "control": 60}, "do": "dance"}]},
            {**song, "drone": {"sound": "floor", "octave": 3}}, {**song, "drone": {"sound": "floor", "degrees": [8], "octave": 3}},
            zone(level=30), zone(level="loud"), zone(keys=["C4"]), zone(keys=["C4", "H4"]), zone(velocity=[0, 127]),
            zone(plays="tune"), zone(linger=True), zone(on="yes"), zone(min_keys=11), zone(curve={}), zone(octave=1.5),
            zone(curve={"lighter": 101}), zone(curve={"lighter": 3, "heavier": 3}), zone(controls=[128]), zone(fade_ms=-1),
        ]
        with tempfile.TemporaryDirectory() as folder:
            wrong = self.songs(pathlib.Path(folder), tables)
        for table, is_refused in zip(tables, wrong):
            self.assertTrue(is_refused, f"the program takes {text(table)}")
            self.assertTrue(list(SCHEMAS["song"].iter_errors(table)), f"the schema takes {text(table)}")


if __name__ == "__main__":
    unittest.main()
