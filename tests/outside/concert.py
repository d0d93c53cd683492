"""Maps in a temporary folder, takes, and what `handspan replay` makes of them, read back by mido."""

import io
import os
import subprocess
import tempfile
from pathlib import Path

import mido

ROOT = Path(__file__).resolve().parents[2]
HANDSPAN = Path(os.environ.get("HANDSPAN", ROOT / "target" / "debug" / "handspan"))

KEYBOARD = """
[inputs.keyboard]
port = "x"
"""


def gear_of(output, *sounds):
    """A gear file's output, and sounds on its channels from the first one on."""
    tables = [f'[sounds.{sound}]\noutput = "{output}"\nchannel = {n}\n' for n, sound in enumerate(sounds, 1)]
    return f"[outputs.{output}]\nvirtual = true\n" + "".join(tables)


def replay(concert_set, take_file, out):
    """Runs `handspan replay`; the finished process."""
    if not HANDSPAN.is_file():
        raise AssertionError(f"there is no program {HANDSPAN}: cargo build, or name it in HANDSPAN")
    command = [str(HANDSPAN), "replay", str(concert_set), str(take_file), "--out", str(out)]
    return subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)


class Concert:
    """A set with its gear and songs, on disk until it is closed."""

    def __init__(self, gear, songs, entries):
        """`songs`: name to song text. `entries`: the set's `[[song]]` tables as text."""
        self._folder = tempfile.TemporaryDirectory(prefix="handspan-outside-")
        self.folder = Path(self._folder.name)
        (self.folder / "gear.toml").write_text(KEYBOARD + gear, encoding="utf-8")
        for name, text in songs.items():
            (self.folder / f"{name}.toml").write_text(text, encoding="utf-8")
        text = 'title = "Outside"\ngear = "gear.toml"\n' + "".join(f"\n[[song]]\n{entry}\n" for entry in entries)
        self.set = self.folder / "set.toml"
        self.set.write_text(text, encoding="utf-8")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._folder.cleanup()

    def run(self, take):
        """Replays a take (bytes or mido file); the finished process and the output folder."""
        path = self.folder / "take.mid"
        path.write_bytes(take if isinstance(take, bytes) else file_bytes(take))
        out = Path(tempfile.mkdtemp(prefix="out-", dir=self.folder))
        return replay(self.set, path, out), out

    def replay(self, take):
        """Replays a take; each output's name to its `Replayed` file."""
        done, out = self.run(take)
        if done.returncode != 0:
            raise AssertionError(f"replay ended with {done.returncode}:\n{done.stdout}\n{done.stderr}")
        return {path.stem: Replayed(path) for path in sorted(out.glob("*.mid"))}


class Replayed:
    """One output's file, read by mido."""

    def __init__(self, path):
        self.bytes = path.read_bytes()
        self.file = mido.MidiFile(file=io.BytesIO(escapes_as_meta(self.bytes)))
        if self.file.type != 0 or len(self.file.tracks) != 1:
            raise AssertionError(f"{path.name} is not of format 0")
        # RP-001: the division is in bytes 12 and 13 of the file.
        self.division = self.bytes[12:14]
        self.messages = []
        self.meta = []
        now = 0
        for message in self.file.tracks[0]:
            now += message.time
            if message.type == "sequencer_specific":
                self.messages.append((now, bytes(message.data)))
            elif message.is_meta:
                self.meta.append((now, message))
            else:
                self.messages.append((now, bytes(message.bytes())))
        self.end = now

    def of(self, channel):
        """Messages of one channel (from 1), with their ticks."""
        return [(tick, data) for tick, data in self.messages if data[0] < 0xF0 and data[0] & 15 == channel - 1]

    def notes(self, channel=1):
        """Note-ons and note-offs of one channel (from 1) as (tick, on, note, velocity)."""
        return [
            (tick, data[0] >> 4 == 9, data[1], data[2]) for tick, data in self.of(channel) if data[0] >> 4 in (8, 9)
        ]

    def sounding(self, channel=1):
        """Tick to the set of notes sounding from then on. Fails where an on meets an on or an off an off (R2)."""
        notes = set()
        states = {}
        for tick, on, note, _ in self.notes(channel):
            if on == (note in notes):
                raise AssertionError(f"tick {tick}: note {note} {'on' if on else 'off'} twice")
            (notes.add if on else notes.remove)(note)
            states[tick] = frozenset(notes)
        return states


def escapes_as_meta(data):
    """The file with its escapes (F7 and a length, RP-001), which mido does not know, as sequencer-specific meta events.

    They hold system messages other than exclusive ones. Other events are copied as they are.
    """
    def number(at):
        value = 0
        while True:
            value = value << 7 | data[at] & 0x7F
            at += 1
            if data[at - 1] < 0x80:
                return value, at

    track, at, status = bytearray(), 22, 0
    while at < len(data):
        begin = at
        _, at = number(at)
        track += data[begin:at]
        begin = at
        if data[at] >= 0x80:
            status = data[at]
            at += 1
        if status < 0xF0:
            at += 1 if status >> 4 in (0xC, 0xD) else 2
        else:
            length, at = number(at + 1 if status == 0xFF else at)
            at += length
        if status == 0xF7:
            track += b"\xff\x7f"
            begin += 1
        track += data[begin:at]
    return data[:18] + len(track).to_bytes(4, "big") + bytes(track)


def take(events, end=None, division=480, meta=()):
    """A format 0 take. `events`: (tick, bytes) or (tick, marker text), at one tick in order; `meta` before them."""
    track = mido.MidiTrack()
    now = 0
    both = [(tick, message) for tick, message in meta] + list(events)
    for tick, event in sorted(both, key=lambda pair: pair[0]):
        if isinstance(event, str):
            message = mido.MetaMessage("marker", text=event)
        elif isinstance(event, mido.MetaMessage):
            message = event
        else:
            message = mido.Message.from_bytes(event)
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=max(0, (end or 0) - now)))
    file = mido.MidiFile(type=0, ticks_per_beat=division)
    file.tracks.append(track)
    return file


def file_bytes(file):
    """A mido file's bytes."""
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def smf(track, division=b"\x00\x60"):
    """A format 0 file with this track data, put together by hand (RP-001)."""
    return b"MThd\x00\x00\x00\x06\x00\x00\x00\x01" + division + b"MTrk" + len(track).to_bytes(4, "big") + track


def on(note, velocity=80, channel=1):
    return bytes([0x90 + channel - 1, note, velocity])


def off(note, velocity=64, channel=1):
    return bytes([0x80 + channel - 1, note, velocity])


def control(number, value, channel=1):
    return bytes([0xB0 + channel - 1, number, value])


def states_changed(states):
    """Sounding states without the ticks at which nothing is different."""
    changed = {}
    last = frozenset()
    for tick in sorted(states):
        if states[tick] != last:
            changed[tick] = last = states[tick]
    return changed
