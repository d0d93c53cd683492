"""The schema of maps beside the reader, by an independent validator of JSON Schema (the Python package jsonschema, draft
2020-12): over thousands of maps of which something was changed, the reader never reads what the schema refuses, and what
the reader refuses for its form alone the schema refuses too. TOML is read by Python's own tomllib."""

import copy
import json
import os
import random
import subprocess
import tomllib
import unittest
from pathlib import Path

import jsonschema

ROOT = Path(__file__).resolve().parents[2]
READER = Path(os.environ.get("READ_MAPS", ROOT / "target" / "debug" / "examples" / "read_maps"))
CASES = 4_000
SEED = 20_261_128
# What the reader says of a map's form. The rest is about names that nothing has and parts that do not go together, such
# as a drone's octave, which depends on what the file calls middle C, and what each action needs.
FORM = ("has no field called", "needs the field", "\" takes ", "this version does not know the field")


def is_form(title):
    return any(form in title for form in FORM) and not title.startswith(('"octave" takes a whole number from', "The action "))


def schema(kind):
    return json.loads((ROOT / "maps" / "schema" / f"{kind}.json").read_text())


def inline(value):
    """A value as TOML has it, on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return "[" + ", ".join(map(inline, value)) + "]"
    return "{ " + ", ".join(f"{json.dumps(name)} = {inline(item)}" for name, item in value.items()) + " }"


def written(document):
    """A map as text: every table within a line."""
    return "".join(f"{json.dumps(name)} = {inline(value)}\n" for name, value in document.items())


def tables(value):
    """Every table in a value, itself among them."""
    if isinstance(value, dict):
        yield value
        for item in value.values():
            yield from tables(item)
    elif isinstance(value, list):
        for item in value:
            yield from tables(item)


def examples(of):
    """All fields that a schema knows, with their examples."""
    for part in tables(of):
        for name, field in part.get("properties", {}).items():
            if isinstance(field, dict) and field.get("examples"):
                yield name, field["examples"][0]


def words(of):
    """All words that fields choose from."""
    return [word for part in tables(of) for word in part.get("enum", []) if isinstance(word, str)]


def limits(of):
    """Numbers at the limits of fields, and beyond them."""
    for part in tables(of):
        for limit in ("minimum", "maximum"):
            if isinstance(part.get(limit), (int, float)):
                # A whole number with a point is one to JSON, and none to TOML.
                number = int(part[limit]) if part[limit] == int(part[limit]) else part[limit]
                yield from (number - 1, number, number + 1)


def changed(document, chances, pool):
    """A copy of a map of which one thing was changed."""
    document = copy.deepcopy(document)
    table = chances.choice(list(tables(document)))
    kind = chances.randrange(5)
    if kind == 0 and table:
        table[chances.choice(list(table))] = copy.deepcopy(chances.choice(pool["values"]))
    elif kind == 1 and table:
        del table[chances.choice(list(table))]
    elif kind == 2:
        name, example = chances.choice(pool["examples"])
        table[name] = copy.deepcopy(example)
    elif kind == 3 and table:
        name = chances.choice(list(table))
        table[name + "s"] = table.pop(name)
    else:
        name, _ = chances.choice(pool["examples"])
        table[name] = copy.deepcopy(chances.choice(pool["values"]))
    return document


class Schema(unittest.TestCase):
    def setUp(self):
        self.kinds = {"maps/gear.toml": "gear", "maps/midwinter.toml": "set"}
        self.kinds.update({str(path.relative_to(ROOT)): "song" for path in sorted((ROOT / "maps/songs").glob("*.toml"))})
        self.schemas = {kind: schema(kind) for kind in ("gear", "song", "set")}
        self.validators = {kind: jsonschema.Draft202012Validator(of) for kind, of in self.schemas.items()}

    def read(self, maps):
        """What the reader says of each."""
        if not READER.is_file():
            self.fail(f"there is no program {READER}: cargo build --example read_maps")
        lines = "".join(json.dumps([file, text]) + "\n" for file, text in maps)
        done = subprocess.run([str(READER)], input=lines, capture_output=True, text=True, cwd=ROOT, check=True)
        return [json.loads(line) for line in done.stdout.splitlines()]

    def test_the_schemas_are_schemas(self):
        for of in self.schemas.values():
            jsonschema.Draft202012Validator.check_schema(of)

    def test_every_example_is_allowed_where_it_stands(self):
        for kind, of in self.schemas.items():
            for part in tables(of):
                for name, field in part.get("properties", {}).items():
                    if isinstance(field, dict) and field.get("examples"):
                        validator = self.validators[kind].evolve(schema={**field, "$defs": of["$defs"]})
                        for example in field["examples"]:
                            self.assertTrue(validator.is_valid(example), f"{kind}: {name} = {example}")

    def test_the_demo_is_allowed(self):
        for file, kind in self.kinds.items():
            document = tomllib.loads((ROOT / file).read_text())
            faults = [fault.message for fault in self.validators[kind].iter_errors(document)]
            self.assertEqual(faults, [], file)

    def test_reader_and_schema_agree_on_thousands_of_maps(self):
        chances = random.Random(SEED)
        documents = {file: tomllib.loads((ROOT / file).read_text()) for file in self.kinds}
        every = list(self.schemas.values())
        pool = {
            "examples": [pair for of in every for pair in examples(of)],
            "values": [True, False, 0, 1, -1, 3.5, 1e9, "", " ", "C4", "H2", "Eb", "x" * 201, [], [1, 2], [1, "x"], {}]
            + [word for of in every for word in words(of)]
            + [limit for of in every for limit in limits(of)],
        }
        files = [chances.choice(list(documents)) for _ in range(CASES)]
        cases = [(file, changed(documents[file], chances, pool)) for file in files]
        said = self.read((file, written(document)) for file, document in cases)
        self.assertEqual(len(said), CASES)
        disagreed = []
        counts = {"read": 0, "refused by both": 0, "refused for what a schema cannot know": 0}
        for (file, document), titles in zip(cases, said):
            allowed = self.validators[self.kinds[file]].is_valid(document)
            where = f"{file}, seed {SEED}: {titles}\n{written(document)}"
            if not titles:
                disagreed += [] if allowed else [f"read, but not by the schema: {where}"]
                counts["read"] += 1
            elif any(map(is_form, titles)):
                disagreed += [f"refused for its form, but not by the schema: {where}"] if allowed else []
                counts["refused by both"] += 1
            else:
                counts["refused for what a schema cannot know"] += 1
        self.assertEqual(disagreed, [], f"{len(disagreed)}: " + "\n".join(disagreed[:3]))
        # Each outcome is tried often enough to mean something.
        self.assertGreater(min(counts["read"], counts["refused by both"]), CASES // 10, counts)


if __name__ == "__main__":
    unittest.main()
