"""The devices around handspan.exe under wine: files that the stand-in for winmm.dll reads and writes (winmm.c)."""

import os
import subprocess
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
PROGRAM = ROOT / "target/platforms/x86_64-pc-windows-gnu/debug/handspan.exe"


class Yardstick:
    """How long the machine takes for something now: patience is counted in that."""

    def __init__(self):
        began = time.monotonic()
        subprocess.run([HERE / "wine", PROGRAM, "--version"], check=True, stdout=subprocess.DEVNULL)
        self.start = time.monotonic() - began

    def patience(self):
        """Far longer than anything takes that happens at all; only a failure waits for it."""
        return 60 * self.start + 10


def windows(path):
    """A path as Windows programs write it."""
    return "Z:" + str(path).replace("/", "\\")


class Stage:
    """A folder of its own, devices, and the program."""

    def __init__(self, folder, yardstick):
        self.folder = Path(folder)
        self.devices = self.folder / "devices"
        self.devices.mkdir(parents=True)
        self.yardstick = yardstick
        self.running = []
        self.ports([])
        self.env = dict(os.environ, MIDI_STAND_IN=windows(self.devices), TZ="Asia/Kathmandu")

    def write(self, name, text):
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")

    def ports(self, lines):
        """The ports that are plugged in now: "in NAME" and "out NAME"."""
        passing = self.devices / "ports.new"
        passing.write_text("".join(line + "\n" for line in lines))
        passing.rename(self.devices / "ports.txt")

    def hold(self, name):
        """Another program has the port."""
        (self.devices / f"{name}.busy").touch()

    def release(self, name):
        (self.devices / f"{name}.busy").unlink()

    def play(self, name, *messages):
        with open(self.devices / f"{name}.in", "a", encoding="ascii") as port:
            port.write("".join(message + "\n" for message in messages))

    def close_window(self, event):
        """The console event happens in the program that has an input."""
        passing = self.devices / "closing.new"
        passing.write_text(str(event))
        passing.rename(self.devices / "closing")

    def timed(self, name, ending="out"):
        """What a port was sent: milliseconds and bytes."""
        path = self.devices / f"{name}.{ending}"
        lines = path.read_text().splitlines() if path.exists() else []
        return [(float(line.split()[0]), bytes.fromhex("".join(line.split()[1:]))) for line in lines if " " in line]

    def heard(self, name):
        return [message for _, message in self.timed(name)]

    def hanging(self, name):
        """Notes and pedals that were begun and not ended."""
        on = set()
        for message in self.heard(name):
            kind, channel = message[0] >> 4, message[0] & 15
            if kind == 9 and message[2] > 0:
                on.add((channel, "note", message[1]))
            elif kind in (8, 9):
                on.discard((channel, "note", message[1]))
            elif kind == 0xB and message[1] == 64:
                (on.add if message[2] >= 64 else on.discard)((channel, "pedal"))
            elif kind == 0xB and message[1] in (120, 123):
                on = {what for what in on if what[0] != channel or what[1] != "note"}
        return on

    def begin(self, *arguments):
        """Starts the program; what it says lands in a file."""
        said = open(self.folder / f"said-{len(self.running)}", "wb")
        command = [HERE / "wine", PROGRAM, *arguments]
        process = subprocess.Popen(
            command, cwd=self.folder, env=self.env, stdin=subprocess.DEVNULL, stdout=said, stderr=subprocess.STDOUT
        )
        process.said = Path(said.name)
        said.close()
        self.running.append(process)
        return process

    def run(self, *arguments):
        """Runs the program to its end: code, what it said on both streams."""
        command = [HERE / "wine", PROGRAM, *arguments]
        ended = subprocess.run(
            command,
            cwd=self.folder,
            env=self.env,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            timeout=self.yardstick.patience(),
        )
        return ended.returncode, text_of(ended.stdout)

    def wait(self, what, come_true):
        until = time.monotonic() + self.yardstick.patience()
        while not come_true():
            if time.monotonic() > until:
                said = "\n".join(process.said.read_text(errors="replace") for process in self.running)
                raise AssertionError(f"{what}: did not happen. What was said:\n{said}")
            time.sleep(0.005)

    def says(self, process, words):
        self.wait(f'"{words}"', lambda: words in process.said.read_text(encoding="utf-8", errors="replace"))

    def ends(self, process):
        self.wait("its end", lambda: process.poll() is not None)

    def leave(self):
        for process in self.running:
            if process.poll() is None:
                process.kill()
                process.wait()


def text_of(raw):
    return raw.decode("utf-8", errors="replace").replace("\r\n", "\n")
