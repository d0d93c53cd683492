"""The real handspan.exe under wine, between devices that stand in: what a player meets on an evening.

python3 tests/platforms/scenarios.py [PART]: those with PART in their name. Wine is not Windows: what a scenario stands
on is in docs/systems.md.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path

from stage import ROOT, Stage, Yardstick

GEAR = """gather_ms = 40
[inputs.keyboard]
port = "stage piano"
play = true
[outputs.piano]
port = "loopback piano"
[outputs.pad]
port = "loopback pad"
optional = true
[sounds.grand]
output = "piano"
channel = 1
program = 1
[sounds.warm]
output = "pad"
channel = 2
program = 90
"""
LANTERN = """title = "Lantern"
key = "C"
play_in = "C"
[[zone]]
sound = "grand"
[[zone]]
name = "bed"
sound = "warm"
plays = "chord"
within = ["G2", "G4"]
min_keys = 3
"""
SNOW = """title = "Snow"
key = "C"
[[zone]]
sound = "grand"
"""
SET = """title = "Midwinter"
gear = "gear.toml"
[[song]]
map = "lantern.toml"
key = "D"
[[song]]
map = "snow.toml"
"""

# Where Windows keeps what is a user's alone.
LOCAL = ROOT / "target/platforms/wine/drive_c/users"

PIANO = "loopback piano"
PAD = "loopback pad"
ALL = ["in Stage Piano", f"out {PIANO}", f"out {PAD}"]

# The console's events, as Windows numbers them.
WINDOW_CLOSED, LOG_OFF, SHUTDOWN = 2, 5, 6


def evening(stage):
    """The maps of the evening, and all devices plugged in."""
    stage.write("gear.toml", GEAR)
    stage.write("lantern.toml", LANTERN)
    stage.write("snow.toml", SNOW)
    stage.write("set.toml", SET)
    stage.ports(ALL)


def begin(stage, *more):
    playing = stage.begin("play", "set.toml", *more)
    stage.says(playing, "Lantern")
    stage.wait("the piano's set-up", lambda: bytes([0xC0, 0]) in stage.heard(PIANO))
    return playing


def sounds(stage, port, note, channel=0):
    stage.wait(f"note {note} at {port}", lambda: (channel, "note", note) in stage.hanging(port))


def silent(stage, port):
    stage.wait(f"silence at {port}", lambda: not stage.hanging(port))


def same(found, expected):
    if found != expected:
        raise AssertionError(f"expected {expected!r}, found {found!r}")


def holds(text, *parts):
    for part in parts:
        if part not in text:
            raise AssertionError(f"does not say {part!r}:\n{text}")


def play(stage):
    """A key through song and transposition to its output, and a chord pad with its gather time."""
    evening(stage)
    begin(stage)
    stage.play("Stage Piano", "90 3c 64")
    sounds(stage, PIANO, 62)
    stage.play("Stage Piano", "b0 40 7f", "80 3c 40", "b0 40 00")
    silent(stage, PIANO)
    late = []
    for _ in range(10):
        before = len(stage.timed(PAD))
        stage.play("Stage Piano", "90 30 64", "90 34 64", "90 37 64")
        stage.wait("the pad's chord", lambda: len(stage.hanging(PAD)) == 3)
        given = [at for at, message in stage.timed("Stage Piano", "given") if message[0] == 0x90][-3]
        begun = [at for at, message in stage.timed(PAD)[before:] if message[0] >> 4 == 9]
        late.append(begun[0] - given - 40)
        stage.play("Stage Piano", "80 30 40", "80 34 40", "80 37 40")
        silent(stage, PIANO)
    if min(late) < -1:
        raise AssertionError(f"a chord was decided before the gather time was over: {late}")
    # Waits that end at a coarse tick, or not at all, would be far beyond this.
    if statistics.median(late) > stage.yardstick.start * 100:
        raise AssertionError(f"chords were decided too late: {late}")
    print(f"  gather: decided {statistics.median(late):.1f} ms (median), {max(late):.1f} ms (slowest of 10) after its time")


def cable(stage):
    """The cable comes out in mid-chord: its notes end; it comes back and plays."""
    evening(stage)
    playing = begin(stage)
    took, back = [], []
    for _ in range(5):
        stage.play("Stage Piano", "90 3c 64", "90 40 64", "b0 40 7f")
        sounds(stage, PIANO, 66)
        stage.wait("the pedal", lambda: (0, "pedal") in stage.hanging(PIANO))
        pulled = time.monotonic()
        stage.ports(ALL[1:])
        silent(stage, PIANO)
        took.append(time.monotonic() - pulled)
        plugged = time.monotonic()
        stage.ports(ALL)
        told = len(back) + 1
        stage.wait(
            "the keyboard's return", lambda: playing.said.read_text().count("keyboard is connected again.") == told
        )
        back.append(time.monotonic() - plugged)
        stage.play("Stage Piano", "90 3e 64")
        sounds(stage, PIANO, 64)
        stage.play("Stage Piano", "80 3e 40")
        silent(stage, PIANO)
    holds(playing.said.read_text(), "keyboard is not connected: its notes have ended, its pedals are up.")
    for what, times in (("ended after a cable came out", took), ("connected again", back)):
        print(f"  {what}: {statistics.median(times) * 1000:.0f} ms (median), {max(times) * 1000:.0f} ms (slowest of 5)")


def held_at_the_start(stage):
    """Another program has the port: that is said, with what to do."""
    evening(stage)
    stage.hold("Stage Piano")
    stage.hold(PIANO)
    code, said = stage.run("play", "set.toml")
    same(code, 2)
    holds(said, 'inputs.keyboard: "Stage Piano" cannot be opened', f'outputs.piano: "{PIANO}" cannot be opened')
    holds(said, "Close that program, then start again")


def held_on_return(stage):
    """A port that comes back and cannot be opened is tried again until it opens, and both is told."""
    evening(stage)
    playing = begin(stage)
    for port in ("Stage Piano", PIANO):
        stage.hold(port)
    stage.ports([])
    stage.says(playing, "keyboard is not connected")
    stage.says(playing, "Nothing is connected to output piano.")
    stage.ports(ALL)
    stage.says(playing, "The port of keyboard is there and cannot be opened")
    stage.says(playing, "The port of piano is there and cannot be opened")
    for port in ("Stage Piano", PIANO):
        stage.release(port)
    stage.says(playing, "keyboard is connected again.")
    stage.says(playing, "Output piano is connected, and its sounds are set up.")
    stage.play("Stage Piano", "90 3c 64")
    sounds(stage, PIANO, 62)
    same(playing.said.read_text().count("The port of keyboard is there"), 1)


def outputs_away(stage):
    """A sound program ends and comes back: its sounds are set up again; the other one plays on."""
    evening(stage)
    playing = begin(stage)
    stage.ports([line for line in ALL if PIANO not in line])
    stage.says(playing, "Nothing is connected to output piano.")
    before = len(stage.heard(PIANO))
    stage.play("Stage Piano", "90 30 64", "90 34 64", "90 37 64")
    stage.wait("the pad's chord", lambda: len(stage.hanging(PAD)) == 3)
    same(len(stage.heard(PIANO)), before)
    stage.play("Stage Piano", "80 30 40", "80 34 40", "80 37 40")
    stage.ports(ALL)
    stage.says(playing, "Output piano is connected, and its sounds are set up.")
    stage.wait("the set-up", lambda: bytes([0xC0, 0]) in stage.heard(PIANO)[before:])
    stage.play("Stage Piano", "90 3c 64")
    sounds(stage, PIANO, 62)


def kill(stage):
    """Killed in mid-chord and started again: what sounds is silenced, and the set goes on where it was."""
    evening(stage)
    playing = begin(stage)
    code, said = stage.run("do", "next-song")
    same((code, "Snow" in said), (0, True))
    stage.play("Stage Piano", "90 3c 64")
    sounds(stage, PIANO, 60)
    playing.kill()
    playing.wait()
    code, said = stage.run("status")
    same(code, 1)
    holds(said, "No handspan runs")
    again = stage.begin("play", "set.toml")
    stage.says(again, "The last run ended unexpectedly: the set goes on where it was")
    silent(stage, PIANO)
    stage.says(again, "Snow")
    stage.play("Stage Piano", "90 3c 64")
    sounds(stage, PIANO, 60)


def window_closed(stage):
    """The window is closed, the user logs off, the machine is shut down: every note ends, every pedal comes up."""
    evening(stage)
    stage.write("gear.toml", GEAR.replace("gather_ms = 40\n", ""))
    events = ([WINDOW_CLOSED] * 8 + [LOG_OFF] * 6 + [SHUTDOWN] * 6) * 1
    hanging = []
    for event in events:
        for port in (PIANO, PAD):
            (stage.devices / f"{port}.out").unlink(missing_ok=True)
        playing = begin(stage)
        stage.play("Stage Piano", "b0 40 7f", "90 30 64", "90 34 64", "90 37 64")
        stage.wait("the chord", lambda: len(stage.hanging(PIANO)) == 4 and len(stage.hanging(PAD)) >= 3)
        stage.close_window(event)
        stage.ends(playing)
        hanging.extend(stage.hanging(PIANO) | stage.hanging(PAD))
        said = playing.said.read_text()
        holds(said, "The end: every note has ended, every pedal is up.")
        if "stand-in: handlers" in said:
            raise AssertionError(f"the process did not end by itself, in time:\n{said}")
    print(f"  {len(events)} times: {len(hanging)} notes or pedals hang")
    same(hanging, [])


def control(stage):
    """`do` and `status` from another terminal; names; a stranger at the port gets no answer."""
    evening(stage)
    begin(stage, "--log", "concert.log")
    code, said = stage.run("status")
    same(code, 0)
    holds(said, "1/2 Lantern", "inputs: keyboard")
    code, said = stage.run("status", "--json")
    same((code, '"position": 1' in said), (0, True))
    code, said = stage.run("do", "section", "Chorus")
    same(code, 2)
    code, said = stage.run("play", "set.toml")
    same(code, 1)
    holds(said, 'a handspan named "handspan" is running already')
    code, said = stage.run("play", "set.toml", "--name", "a b")
    same(code, 2)
    port, key = next(LOCAL.glob("*/AppData/Local/handspan/run/handspan.socket")).read_text().split()
    asked = b'{"version":1,"ask":"status"}\n'
    same(len(key), 64)
    same(answer(int(port), asked), b"")
    same(answer(int(port), b"0" * 64 + b"\n" + asked), b"")
    holds(answer(int(port), key.encode() + b"\n" + asked).decode(), '"outcome":"done"')
    code, said = stage.run("do", "next-song")
    same(code, 0)
    # The player's time: Kathmandu is 5:45 east.
    log = (stage.folder / "concert.log").read_text(encoding="utf-8")
    holds(log, "+05:45 ", "next-song")


def answer(port, said):
    """What a performance answers to bytes at its port."""
    import socket

    with socket.create_connection(("127.0.0.1", port)) as stream:
        stream.sendall(said)
        stream.shutdown(socket.SHUT_WR)
        got = b""
        try:
            while piece := stream.recv(65536):
                got += piece
        except ConnectionError:
            pass
        return got


def no_virtual_ports(stage):
    """`check` says at its line what the system cannot do; `play` says all that is missing at once."""
    evening(stage)
    gear = GEAR.replace('port = "loopback piano"', "virtual = true").replace('port = "loopback pad"\noptional = true', "virtual = true")
    stage.write("gear.toml", gear)
    code, said = stage.run("check", "set.toml")
    same(code, 1)
    holds(said, "The output \"piano\" cannot be opened: this system has no virtual ports.", "gear.toml, line 5")
    stage.ports([])
    code, said = stage.run("play", "set.toml")
    same(code, 2)
    holds(said, 'inputs.keyboard: no port has "stage piano" in its name')
    holds(said, "this system has no virtual ports, as [outputs.piano] and [outputs.pad] of the gear file want them")
    # The demo's gear for such systems is in order here.
    same(stage.run("try", "--out", "demo")[0], 0)
    text = (stage.folder / "demo/midwinter.toml").read_text(encoding="utf-8")
    stage.write("demo/midwinter.toml", text.replace('"gear.toml"', '"gear-loopback.toml"'))
    stage.ports(["in Stage Piano", f"out {PIANO}", f"out {PAD}"])
    code, said = stage.run("check", "demo/midwinter.toml")
    same(code, 0)


def a_saved_map(stage):
    """A map that is saved while it is played is loaded between two notes; one with errors changes nothing."""
    evening(stage)
    playing = begin(stage)
    stage.write("lantern.toml", LANTERN.replace('key = "C"', "key = "))
    stage.says(playing, "The saved maps were not loaded")
    stage.play("Stage Piano", "90 3c 64")
    sounds(stage, PIANO, 62)
    stage.write("set.toml", SET.replace('key = "D"', 'key = "E"'))
    stage.write("lantern.toml", LANTERN)
    stage.says(playing, "The saved maps are loaded.")
    same((0, "note", 62) in stage.hanging(PIANO), True)
    stage.play("Stage Piano", "80 3c 40")
    silent(stage, PIANO)
    stage.play("Stage Piano", "90 3c 64")
    sounds(stage, PIANO, 64)


def a_folder_in_a_maps_place(stage):
    """The sentence is the same as on other systems."""
    evening(stage)
    (stage.folder / "snow.toml").unlink()
    (stage.folder / "snow.toml").mkdir()
    code, said = stage.run("check", "set.toml")
    same(code, 2)
    holds(said, '"snow.toml" cannot be read: it is a folder.')


def a_page(stage):
    """The page is served; a port that is taken is left for the next one."""
    evening(stage)
    begin(stage)
    other = stage.begin("try", "set.toml")
    stage.says(other, "Play it yourself: http://")


def names_of_files(stage):
    """What an output may be called and a file may not: nothing leaves the folder, and nothing is lost."""
    evening(stage)
    strange = ["CON", "nul.txt", "COM1", "desk.", "desk ", "../away", "Desk", "desk"]
    tables = "".join(f'[outputs."{name}"]\nport = "none {number}"\noptional = true\n' for number, name in enumerate(strange))
    stage.write("gear.toml", GEAR + tables)
    code, said = stage.run("check", "set.toml")
    holds(said, "cannot give a file its name")
    take = ROOT / "maps/takes/weir-gate.mid"
    (stage.folder / "take.mid").write_bytes(take.read_bytes())
    code, said = stage.run("replay", "set.toml", "take.mid", "--out", "again")
    same(code, 0)
    names = sorted(file.name for file in (stage.folder / "again").iterdir())
    same(len(names), len(strange) + 2)
    same((stage.folder / "away.mid").exists(), False)
    # Two names that differ in case only would be one file.
    same(len({name.lower() for name in names}), len(names))


SCENARIOS = [
    play,
    cable,
    held_at_the_start,
    held_on_return,
    outputs_away,
    kill,
    window_closed,
    control,
    no_virtual_ports,
    a_saved_map,
    a_folder_in_a_maps_place,
    a_page,
    names_of_files,
]


def main(part):
    yardstick = Yardstick()
    print(f"the program starts in {yardstick.start * 1000:.0f} ms")
    failed = []
    for scenario in (scenario for scenario in SCENARIOS if part in scenario.__name__):
        began = time.monotonic()
        with tempfile.TemporaryDirectory(prefix="handspan-", dir=ROOT / "target/platforms") as folder:
            stage = Stage(Path(folder) / "evening", yardstick)
            try:
                scenario(stage)
                print(f"ok      {scenario.__name__} ({time.monotonic() - began:.1f} s)", flush=True)
            except Exception as error:  # Each scenario is told, then the next one runs.
                failed.append(scenario.__name__)
                print(f"FAILED  {scenario.__name__}: {error}", flush=True)
            finally:
                stage.leave()
    if failed:
        sys.exit(f"FAILED scenarios: {', '.join(failed)}")


main(sys.argv[1] if len(sys.argv) > 1 else "")
