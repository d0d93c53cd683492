"""A packed evening, read and written by Python's zipfile, which follows PKWARE's APPNOTE.TXT (.ZIP File Format)."""

import stat
import subprocess
import tempfile
import unittest
import zipfile
from pathlib import Path

from concert import HANDSPAN

MAPS = Path("maps")


def handspan(*arguments):
    return subprocess.run([HANDSPAN, *map(str, arguments)], capture_output=True, text=True)


class Packed(unittest.TestCase):
    def setUp(self):
        self.kept = tempfile.TemporaryDirectory()
        self.addCleanup(self.kept.cleanup)
        self.folder = Path(self.kept.name)

    def test_another_reader_finds_every_file_as_it_was(self):
        packed = self.folder / "evening.zip"
        take = MAPS / "takes/whole-set.mid"
        ran = handspan("pack", MAPS / "midwinter.toml", packed, "--with", take)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        with zipfile.ZipFile(packed) as read:
            self.assertIsNone(read.testzip())
            names = set(read.namelist())
            for name in names:
                self.assertEqual(read.read(name), (MAPS / name).read_bytes(), name)
        self.assertLessEqual({"midwinter.toml", "gear.toml", "takes/whole-set.mid", "schema/song.json"}, names)
        self.assertEqual(len([name for name in names if name.startswith("songs/")]), len(list((MAPS / "songs").iterdir())))

    def write(self, entries, compression=zipfile.ZIP_DEFLATED):
        path = self.folder / "other.zip"
        with zipfile.ZipFile(path, "w", compression) as written:
            for entry, text in entries:
                written.writestr(entry, text)
        return path

    def evening(self):
        files = [MAPS / "midwinter.toml", MAPS / "gear.toml", *(MAPS / "songs").iterdir()]
        return [(str(path.relative_to(MAPS)), path.read_bytes()) for path in files]

    def test_what_another_writer_packed_is_laid_out(self):
        for compression in (zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED):
            out = self.folder / f"evening-{compression}"
            ran = handspan("unpack", self.write(self.evening(), compression), out)
            self.assertEqual(ran.returncode, 0, ran.stderr)
            for name, text in self.evening():
                self.assertEqual((out / name).read_bytes(), text)

    def refuses(self, entries, words):
        out = self.folder / "out"
        ran = handspan("unpack", self.write(entries), out)
        self.assertEqual(ran.returncode, 2, ran.stdout + ran.stderr)
        self.assertIn(words, ran.stderr)
        left = sorted(path.name for path in self.folder.iterdir())
        self.assertEqual(left, ["other.zip"], "nothing is left, neither there nor beside it")

    def test_nothing_leads_out_of_the_folder(self):
        for name in ("../outside.toml", "/outside.toml", "songs/../../outside.toml", "songs\\..\\..\\outside.toml"):
            self.refuses([*self.evening(), (name, b"title = 1")], "leads out of the folder")
        link = zipfile.ZipInfo("link")
        link.create_system = 3
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        self.refuses([*self.evening(), (link, "/etc")], "leads out of the folder")

    def test_what_would_be_one_file_or_none_on_some_systems_is_refused(self):
        self.refuses([*self.evening(), ("GEAR.toml", b"")], "one file on some systems")
        self.refuses([*self.evening(), ("nul.toml", b"")], "cannot lie in a folder on every system")

    def test_what_is_far_too_long_is_refused_although_it_is_short_when_packed(self):
        self.refuses([*self.evening(), ("long.mid", bytes(65 << 20))], "64 MiB")

    def test_a_set_with_a_fault_is_not_laid_out(self):
        entries = [(name, text) for name, text in self.evening() if name != "gear.toml"]
        self.refuses(entries, "gear.toml")
        self.refuses([("notes.txt", b"nothing")], "holds no set")


if __name__ == "__main__":
    unittest.main()
