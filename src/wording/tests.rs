//! Each sentence, spelled out.

use std::sync::Arc;

use super::notices::{Context, sentence};
use super::received::Hearing;
use super::zones::Detail;
use super::{actions, changes, cues, keys, page, performance, ports, received, zones};
use crate::engine::{Action, ActionError, By, CueId, Engine, Event, Fired, Micros, Notice, Plan, Snapshot};
use crate::evening::{Keys, Standing};
use crate::map::{Book, load};

const SET: &str = "title = \"Tonight\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\nkey = \"Eb\"\n[[song]]\n\
                   title = \"Welcome\"\n";
const GEAR: &str = "[inputs.keyboard]\nport = \"piano\"\n[outputs.piano]\nvirtual = true\n\
                    [sounds.grand]\noutput = \"piano\"\nchannel = 1\n[sounds.warm]\noutput = \"piano\"\nchannel = 2\n\
                    [[cue]]\nwhen = { input = \"keyboard\", control = 66 }\ndo = \"send\"\nto = \"piano\"\n\
                    message = { control = [20, 127], channel = 9 }\noff = { control = [20, 0], channel = 9 }\n\
                    name = \"talkback\"\n\
                    [[cue]]\nwhen = { input = \"keyboard\", control = 67, press = \"double\" }\ndo = \"next-section\"\n";
const SONG: &str = "title = \"Lantern\"\nkey = \"D\"\nplay_in = \"C\"\ntempo = 72\nmeter = \"4/4\"\n\
                    [[zone]]\nsound = \"grand\"\nstay_in_key = \"silent\"\n\
                    [[zone]]\nsound = \"warm\"\nlinger = \"next\"\nfade_ms = 3000\n\
                    [[section]]\nname = \"Verse\"\n[[section]]\nname = \"Chorus\"\n";

fn book_of(song: &str) -> Book {
    let mut read = |path: &str| {
        Ok(match path {
            "set.toml" => SET,
            "gear.toml" => GEAR,
            _ => song,
        }
        .into())
    };
    let loaded = load("set.toml", &mut read);
    let faults: Vec<String> = loaded.diagnostics.iter().map(|fault| fault.render(&loaded.sources, false)).collect();
    loaded.book.unwrap_or_else(|| panic!("{}", faults.join("\n")))
}

/// A set that has begun, after some actions.
struct Evening {
    book: Book,
    plan: Arc<Plan>,
    snapshot: Snapshot,
    noticed: Vec<Notice>,
}

impl Evening {
    fn after(all: &[&str]) -> Evening {
        let book = book_of(SONG);
        let plan = Arc::new(Plan::new(&book));
        let mut engine = Engine::new(Arc::clone(&plan));
        let mut out = engine.out();
        engine.step(Event::Start { entry: 0, order_step: 0 }, Micros(0), &mut out);
        for words in all {
            out.clear();
            engine.step(Event::Action(Action::parse(words, &plan).unwrap()), Micros(1), &mut out);
        }
        Evening { snapshot: engine.snapshot(), noticed: out.notices().to_vec(), book, plan }
    }

    fn context(&self) -> Context<'_> {
        Context { book: &self.book, plan: &self.plan, snapshot: &self.snapshot }
    }

    fn says(&self, notice: Notice) -> String {
        self.context().notice(notice).unwrap_or_default()
    }
}

/// What is answered to the last of some actions, and whether it did something.
fn answer(all: &[&str]) -> (bool, String) {
    let evening = Evening::after(all);
    let action = Action::parse(all.last().unwrap(), &evening.plan).unwrap();
    actions::outcome(action, &evening.noticed, &evening.context())
}

#[test]
fn each_notice_is_a_sentence() {
    let evening = Evening::after(&[]);
    for (notice, said) in [
        (Notice::Song, "1/2 Lantern, Verse (1 of 2), room Eb."),
        (Notice::Section, "Verse (1 of 2), room Eb."),
        (Notice::Key, "Room Eb, tonight's key."),
        (Notice::Zone(0, true), "Zone grand is on."),
        (Notice::Zone(0, false), "Zone grand is off."),
        (Notice::Drone(true), "The drone is on."),
        (Notice::Drone(false), "The drone is off."),
        (Notice::Fade, "Held notes fade out."),
        (Notice::NothingToFade, "No note is held that could fade."),
        (Notice::Cue(CueId(0), true), "talkback is on."),
        (Notice::Cue(CueId(0), false), "talkback is off."),
        (Notice::LinedUp(0), "Next song: Lantern, room Eb."),
        (Notice::LinedUp(1), "Next song: Welcome."),
        (Notice::Tracks(true), "The tracks player runs."),
        (Notice::Tracks(false), "The tracks player has stopped."),
        (Notice::Tempo, "The tapped tempo counts now."),
        (Notice::NothingThere, "Nothing changes: there is no such song, section, zone or drone here."),
        (Notice::NoSuchKey, "Nothing changes: that key is more than an octave away, or of the other mode."),
        (Notice::SaidAgain, "The messages for the entry of \"Lantern\" were sent again."),
        (Notice::Panic, "Panic: everything is silent."),
        (Notice::SetUpAgain, "All sounds were set up again."),
        (
            Notice::Loop(0),
            "keyboard answers everything that it receives: its cues are off until it has been silent for a second. \
             See that it does not send back what it receives.",
        ),
        (
            Notice::HeldBack(1),
            "One message that starts something was not sent, so that nothing runs before you do. resend-messages \
             sends it (key a in the terminal).",
        ),
        (
            Notice::HeldBack(2),
            "2 messages that start something were not sent, so that nothing runs before you do. resend-messages \
             sends them (key a in the terminal).",
        ),
    ] {
        assert_eq!(evening.says(notice), said);
    }
    let fired = Notice::Fired(Fired { cue: CueId(0), at: Micros(0), by: By::Event, received: None });
    assert_eq!([evening.context().notice(fired), evening.context().notice(Notice::TakenOver)], [None, None]);
}

#[test]
fn where_the_set_is() {
    let raised = Evening::after(&["raise-key"]);
    assert_eq!(raised.says(Notice::Key), "Room E, +1 from tonight's key.");
    assert_eq!(raised.context().title_line(), "1/2 Lantern, Verse");
    assert_eq!(raised.context().next_section(), Some("Chorus"));
    let pause = Evening::after(&["next-song"]);
    assert_eq!(pause.says(Notice::Song), "2/2 Welcome: a pause.");
    assert_eq!(pause.context().pause(), Some("a pause; the keys go on playing the song before"));
    assert_eq!(pause.context().title_line(), "2/2 Welcome");
    let first = Snapshot::from(Standing { entry: 1, song: None, ..Standing::default() });
    let first = Context { snapshot: &first, ..pause.context() };
    assert_eq!(first.pause(), Some("a pause; the keys play nothing yet"));
}

#[test]
fn an_action_is_answered() {
    for (all, done, said) in [
        (&["next-section"][..], true, "Chorus (2 of 2), room Eb."),
        (&["song Lantern"], true, "\"Lantern\" is current already: nothing has changed."),
        (&["section Verse"], true, "Verse is current already: nothing has changed."),
        (&["tap"], true, "Tapped: four taps in time are the tempo."),
        (&["fade 100"], true, "No note is held that could fade."),
        (&["previous-song"], false, "The set begins here: there is no previous song."),
        (&["next-song", "next-song"], false, "The set ends here: there is no next song."),
        (&["previous-section"], false, "Verse is the first section."),
        (&["next-section", "next-section"], false, "Chorus is the last section."),
        (&["drone"], false, "\"Lantern\" has no drone."),
        (&["key Cm"], false, "Nothing changes: that key is more than an octave away, or of the other mode."),
        (&["next-song", "next-section"], false, "\"Welcome\" is a pause: it has no sections."),
        (&["next-song", "from-the-top"], false, "\"Welcome\" is no song that could do that."),
    ] {
        assert_eq!(answer(all), (done, said.to_owned()), "{all:?}");
    }
    for (word, side) in [("raise-key", "above"), ("lower-key", "below")] {
        let said = format!("Nothing changes: the room's key is an octave {side} tonight's, and goes no further.");
        assert_eq!(answer(&[word; 13]), (false, said));
        assert!(answer(&[word; 12]).0);
    }
    let evening = Evening::after(&[]);
    let said = |notice, action| actions::outcome(action, &[notice], &evening.context()).1;
    let section = Action::parse("section Chorus", &evening.plan).unwrap();
    assert_eq!(said(Notice::NothingThere, section), "\"Lantern\" has no such section.");
    let zone = Action::parse("zone grand", &evening.plan).unwrap();
    assert_eq!(said(Notice::NothingThere, zone), "\"Lantern\" has no zone \"grand\".");
}

#[test]
fn what_is_no_action_says_what_was_meant() {
    let Evening { plan, book, .. } = Evening::after(&[]);
    let said = |words: &str| {
        let error: ActionError = Action::parse(words, &plan).unwrap_err();
        actions::no_action(&error, &["save-set"], &plan, &book)
    };
    assert_eq!(said("nxt-song"), "\"nxt-song\" is no action: did you mean \"next-song\"?");
    assert_eq!(said("resend"), "\"resend\" is no action: did you mean \"resend-sounds\"?");
    assert_eq!(said("send-again now"), "\"send-again\" is no action: did you mean \"resend-messages\"?");
    assert_eq!(said("sav-set"), "\"sav-set\" is no action: did you mean \"save-set\"?");
    assert_eq!(
        said("next-song please"),
        "\"next-song\" takes nothing more after it, or not this: \"next-song please\"."
    );
    assert_eq!(said("song Lantren"), "there is no song \"Lantren\" in this set: did you mean \"Lantern\"?");
    assert_eq!(said("section Vers"), "there is no section \"Vers\" in this set: did you mean \"Verse\"?");
    assert_eq!(said("zone gand"), "there is no zone \"gand\" in this set: did you mean \"grand\"?");
    assert_eq!(said("zone trombone"), "there is no zone \"trombone\" in this set.");
    let unknown = said("trombone");
    assert!(unknown.starts_with("\"trombone\" is no action. There are: next-song, "), "{unknown}");
    assert!(unknown.ends_with(", save-set."), "{unknown}");
}

#[test]
fn who_asked_is_named_first() {
    assert_eq!(actions::asked(actions::TERMINAL, "next-song"), "terminal: next-song");
    assert_eq!(actions::asked(actions::TERMINAL, &actions::turn_zone(2)), "terminal: zone 3 of the song");
    assert_eq!(actions::asked(actions::TERMINAL, actions::STOP), "terminal: stop");
    assert_eq!(actions::asked(actions::SIGNAL, actions::STOP), "signal: stop");
    assert_eq!(actions::asked(actions::CONTROL_SOCKET, "panic"), "control socket: panic");
    assert_eq!(
        actions::refused(actions::CONTROL_SOCKET, "next-song", "The set ends here: there is no next song."),
        "control socket: \"next-song\" was refused: The set ends here: there is no next song."
    );
    assert_eq!(actions::TOO_MANY_ASK, "Too many ask at this moment: try again.");
    assert_eq!(actions::asked(&page::name(3, &"192.0.2.7"), "next-song"), "page 3 at 192.0.2.7: next-song");
    let book = book_of(SONG);
    let cue = book.cues().nth(1).unwrap();
    assert_eq!(actions::asked(&cues::name(cue, None), &cues::asks(cue, None)), "cue control 67: next-section");
}

#[test]
fn a_cue_says_what_came_and_what_it_did() {
    let book = book_of(SONG);
    let (talkback, section) = (book.cues().next().unwrap(), book.cues().nth(1).unwrap());
    assert_eq!(cues::did(talkback, None, &[Notice::Cue(CueId(0), true)]), "talkback on");
    assert_eq!(cues::did(talkback, None, &[Notice::Cue(CueId(0), false)]), "talkback off");
    assert_eq!(cues::did(section, None, &[Notice::Section]), "next section");
    assert_eq!(cues::did(section, None, &[Notice::NothingThere]), "next section: nothing changes");
    assert_eq!(cues::pressed(section.when.trigger, By::Event), "twice");
    assert_eq!(cues::pressed(talkback.when.trigger, By::Time), "once, 0.4 s ago");
    assert_eq!(cues::pressed(talkback.when.trigger, By::Release), "comes up");
    assert_eq!(cues::pressed(talkback.when.trigger, By::Event), "");
}

#[test]
fn what_a_cue_does_has_a_label_and_the_words_that_have_it_done() {
    let does = [
        ("do = \"raise-key\"", "a semitone up", "raise-key"),
        ("do = \"line-up\"\nsong = \"Lantern\"", "line up song Lantern", "line-up Lantern"),
        ("do = \"song\"\nsong = 1", "song 1", "song 1"),
        ("do = \"section\"\nsection = \"Chorus\"", "section Chorus", "section Chorus"),
        ("do = \"key\"\nkey = \"Eb\"", "key Eb", "key Eb"),
        ("do = \"zone\"\nzone = \"grand\"\nstate = \"off\"", "zone grand off", "zone grand off"),
        ("do = \"drone\"", "drone", "drone"),
        ("do = \"drone\"\nstate = \"on\"", "drone on", "drone on"),
        ("do = \"fade\"", "fade", "fade"),
        ("do = \"fade\"\nfade_ms = 500", "fade", "fade 500"),
        ("do = \"resend-sounds\"", "all sounds again", "resend-sounds"),
    ];
    for (written, label, words) in does {
        let cue = format!("[[cue]]\nwhen = {{ input = \"keyboard\", control = 68 }}\n{written}\n");
        let book = book_of(&format!("{SONG}{cue}"));
        let cue = &book.songs[0].cues[0];
        assert_eq!((cues::does(&cue.does, None, None).as_str(), cues::asks(cue, None).as_str()), (label, words));
    }
    let talkback = book_of(SONG);
    assert_eq!(cues::asks(talkback.cues().next().unwrap(), None), "talkback");
}

#[test]
fn the_keys_are_the_rooms_and_the_fingers() {
    let book = book_of(SONG);
    let (entry, song) = (&book.set.entries[0], &book.songs[0]);
    let keys_of = Keys::of(&book, entry, song);
    assert_eq!(keys::tonight(&keys_of, song), "room Eb, fingers C, +3, chart D, ♩ = 72, 4/4");
    assert_eq!(keys::now("Eb", 0, "C", 3, "D"), "room Eb, fingers C, +3, chart D");
    assert_eq!(keys::now("C", 0, "C", 0, "C"), "room C, fingers C, chart C");
    assert_eq!(keys::now("E", 1, "C", 4, "D"), "room E (+1 from tonight's key), fingers C, +4, chart D");
}

#[test]
fn maps_and_changes() {
    assert_eq!(changes::LOADED, "The saved maps are loaded.");
    assert_eq!(changes::AS_IN_ITS_FILE, "The set is as its file has it.");
    assert_eq!(changes::REFUSED, "The saved maps were not loaded: the set goes on as before.");
    assert_eq!(changes::IN_ORDER, "The saved maps are in order again.");
    assert_eq!(changes::refused(None, 0), changes::REFUSED);
    assert_eq!(
        changes::refused(Some("song.toml, line 3: There is no such key."), 2),
        "The saved maps were not loaded: the set goes on as before. song.toml, line 3: There is no such key. And 2 more."
    );
    assert_eq!(
        changes::STAND_WAITS,
        "The saved gear file has another listen or input below [stand]: that holds from the next start, the page stays."
    );
    assert_eq!(changes::OVERTAKEN, "The maps are being changed by others at this moment: try again.");
    assert_eq!(changes::changed("song-key \"Lantern\" Eb"), "The set was changed: song-key \"Lantern\" Eb.");
    assert_eq!(changes::dropped(1), "One of this evening's changes does not fit the saved maps and is gone.");
    assert_eq!(changes::dropped(2), "2 of this evening's changes do not fit the saved maps and are gone.");
    assert_eq!(changes::no_longer("no such song"), "no longer changed: no such song");
    assert_eq!(changes::for_this_run("Done."), "Done. Until it is saved with save-set it holds for this run only.");
    assert_eq!(changes::moved("Lantern", 2, 3), "\"Lantern\" is 2 of 3 now.");
    assert_eq!(changes::LOOKED_FOR, "it is looked for from here, then from the set's folder");
    assert_eq!(changes::added("Lantern", 4, None), "\"Lantern\" is the last of 4 now.");
    assert_eq!(changes::added("Lantern", 4, Some("D")), "\"Lantern\" is the last of 4 now, in D.");
    assert_eq!(changes::removed("Lantern", 3), "\"Lantern\" is in the set no longer, which has 3 now.");
    assert_eq!(changes::singer_set("Lantern", Some("guest")), "\"Lantern\" is sung by guest tonight.");
    assert_eq!(changes::singer_set("Lantern", None), "\"Lantern\" has no singer tonight.");
    assert_eq!(changes::key_set("Lantern", "Eb", None), "\"Lantern\" is in Eb tonight.");
    assert_eq!(
        changes::key_set("Lantern", "Eb", Some(("Eb", 0))),
        "\"Lantern\" is in Eb tonight. New notes sound in Eb already."
    );
    assert_eq!(
        changes::key_set("Lantern", "F", Some(("D", -1))),
        "\"Lantern\" is in F tonight. The room stays in D, because the key was changed by hand: tonights-key goes to the \
         new key."
    );
    assert_eq!(
        changes::NOT_UNDONE,
        "Nothing was taken back: the maps that were saved meanwhile have errors, or ask for other ports than those that are open."
    );
    assert_eq!(changes::adjusted("bed", "level", "-3"), "bed: level -3.");
    assert_eq!(changes::undone("adjust-song tempo 92"), "Taken back: adjust-song tempo 92.");
    assert_eq!(changes::NOTHING_TO_UNDO, "Nothing was changed since the set was last saved: there is nothing to undo.");
    assert_eq!(
        changes::saved(&["set.toml", "a.toml"], &["set.toml.bak".to_owned(), "a.toml.bak".to_owned()]),
        "Saved to set.toml and a.toml; what was there before is in set.toml.bak and a.toml.bak."
    );
    assert_eq!(
        changes::saved(&["set.toml"], &["set.toml.bak".to_owned()]),
        "Saved to set.toml; what was there before is in set.toml.bak."
    );
}

#[test]
fn a_gear_file_that_asks_for_other_ports_is_told_which() {
    let gear = |text: &str| {
        let mut read = |path: &str| {
            Ok(match path {
                "set.toml" => SET.into(),
                "gear.toml" => {
                    format!("{}{text}", GEAR.replace("\"piano\"\n[outputs", "\"piano\"\nplay = true\n[outputs")).into()
                }
                _ => SONG.into(),
            })
        };
        load("set.toml", &mut read).book.expect("the maps load").gear
    };
    let says = |before: &str, saved: &str, has: &str| {
        let rest = "Ports are opened at the start only: end handspan and start it again. Until then nothing that is saved \
                    is loaded.";
        let said = changes::other_ports(&gear(before), &gear(saved));
        assert_eq!(said, format!("The saved gear file has {has}. {rest}"));
    };
    let tracks = |fields: &str| format!("[inputs.tracks]\nport = \"tracks player\"\nplay = false\n{fields}");
    let desk = |port: &str| format!("[outputs.desk]\nport = \"{port}\"\n");
    says("", &tracks(""), "a new input \"tracks\"");
    says(&tracks(""), "", "no input \"tracks\" any longer");
    says(&tracks(""), &tracks("serial = \"A1\"\n"), "another serial for the input \"tracks\"");
    says(&tracks(""), &tracks("optional = true\n"), "another optional for the input \"tracks\"");
    says(&desk("one"), &desk("two"), "another port for the output \"desk\"");
    says(&desk("one"), "[outputs.desk]\nvirtual = true\n", "another port for the output \"desk\"");
    let both = format!("{}{}", tracks(""), desk("one"));
    says("", &both, "a new input \"tracks\" and a new output \"desk\"");
    let two =
        |first: &str, second: &str| format!("[outputs.{first}]\nvirtual = true\n[outputs.{second}]\nvirtual = true\n");
    says(&two("left", "right"), &two("right", "left"), "its inputs or outputs in another order");
}

#[test]
fn what_an_input_receives_as_its_gear_says() {
    let number = |number: u8| crate::midi::U7::try_from(number).unwrap();
    let channel = crate::midi::Channel::from_index(1).ok();
    let hearing = Hearing { channel, renumber: vec![(number(7), number(11))], middle_c: 3 };
    for (bytes, words, trigger) in [
        (&[0x91, 60, 80][..], "note C3, velocity 80 (channel 2)", Some("note = 60")),
        (&[0xB1, 7, 9], "control 7 is 9: the volume, counts as 11 (channel 2)", Some("control = 11")),
        (&[0xB1, 11, 9], "control 11 is 9: the expression (channel 2)", Some("control = 11")),
        (&[0xC0, 4], "program 5 (channel 1, which this input does not receive)", None),
        (&[0xFC], "clock stop", Some("clock = \"stop\"")),
    ] {
        assert_eq!(received::received("desk", bytes, &hearing), Some(format!("desk: {words}")));
        let trigger = trigger.map(|trigger| format!("when = {{ input = \"desk\", {trigger} }}"));
        assert_eq!(received::trigger("desk", bytes, &hearing), trigger, "{words}");
    }
}

#[test]
fn what_inputs_receive() {
    let plain = Hearing { channel: None, renumber: Vec::new(), middle_c: 4 };
    let line = |bytes: &[u8]| received::received("keyboard", bytes, &plain).unwrap_or_default();
    let when = |bytes: &[u8]| received::trigger("keyboard", bytes, &plain).unwrap_or_default();
    for (bytes, words, trigger) in [
        (&[0x90, 60, 80][..], "note C4, velocity 80", "note = 60"),
        (&[0xA0, 60, 80], "pressure 80 on note C4", ""),
        (&[0xB0, 64, 127], "control 64 is 127: the right pedal", "control = 64"),
        (&[0xB0, 66, 0], "control 66 is 0: the middle pedal", "control = 66"),
        (&[0xB0, 67, 127], "control 67 is 127: the left pedal", "control = 67"),
        (&[0xB2, 20, 5], "control 20 is 5 (channel 3)", "control = 20"),
        (&[0xB0, 123, 0], "control 123 is 0: all notes off", ""),
        (&[0xC0, 4], "program 5", "program = 5"),
        (&[0xD0, 9], "pressure 9", ""),
        (&[0xE0, 0, 0x40], "pitch bend 0", ""),
        (&[0xE0, 0, 0], "pitch bend -8192", ""),
        (&[0xF3, 3], "song select 4", "song_select = 4"),
        (&[0xFA], "clock start", "clock = \"start\""),
        (&[0xFB], "clock continue", "clock = \"continue\""),
        (&[0xFC], "clock stop", "clock = \"stop\""),
        (&[0xF0, 0x7F, 0x7F, 6, 2, 0xF7], "transport play", "transport = \"play\""),
        (&[0xF0, 0x7F, 0x7F, 6, 1, 0xF7], "transport stop", "transport = \"stop\""),
        (&[0xF0, 0x7E, 0x7F, 6, 1, 0xF7], "a system exclusive message of 6 bytes", ""),
    ] {
        assert_eq!(line(bytes), format!("keyboard: {words}"));
        let trigger =
            if trigger.is_empty() { String::new() } else { format!("when = {{ input = \"keyboard\", {trigger} }}") };
        assert_eq!(when(bytes), trigger, "{words}");
    }
    for quiet in [&[0x80, 60, 64][..], &[0x90, 60, 0], &[0xF8], &[0xFE], &[0xF2, 0, 0], &[0xFF], &[0x90]] {
        assert_eq!((line(quiet), when(quiet)), (String::new(), String::new()), "{quiet:?}");
    }
    let odd = received::trigger("the \"big\" one", &[0xC0, 0], &plain).unwrap();
    assert_eq!(odd, "when = { input = 'the \"big\" one', program = 1 }");
    assert_eq!(
        received::input_lines("stage piano", "Stage: MIDI 1", Some("A1")),
        "[inputs.\"stage piano\"]\nport = \"Stage: MIDI 1\"\nserial = \"A1\""
    );
    assert_eq!(
        received::other_inputs("gear.toml"),
        "gear.toml has other inputs now than when listening began: start it again."
    );
    assert_eq!(received::not_in_the_gear("Stage"), "The gear file has no input for \"Stage\". It would be:");
    assert_eq!(
        received::NO_INPUTS,
        "No input is connected at present: plug a keyboard in and try again; `handspan ports` shows what there is."
    );
    assert_eq!(
        received::NO_PORTS,
        "Without ports nothing can arrive: leave --no-ports out. What you play on the page is told by the page itself."
    );
    assert_eq!(received::BEGINS, "Play, press a pedal, send something. Ctrl-C ends it.");
    assert_eq!(
        received::alike("Box"),
        "Two ports are called \"Box\" and cannot be told apart: neither is listened to. Take one out."
    );
    assert_eq!(
        received::known_already("keyboard"),
        "The gear file has keyboard already. To have something done by what arrives: --write next-section, for example."
    );
}

#[test]
fn inputs_and_outputs() {
    assert_eq!(
        ports::input_lost("keyboard"),
        "keyboard is not connected: its notes have ended, its pedals are up. Plug it in again."
    );
    assert_eq!(ports::input_back("keyboard"), "keyboard is connected again.");
    assert_eq!(ports::output_lost("pad"), "Nothing is connected to output pad.");
    assert_eq!(ports::output_back("pad"), "Output pad is connected, and its sounds are set up.");
    assert_eq!(
        ports::held("pad"),
        "The port of pad is there and cannot be opened; most likely another program has it. Close that program."
    );
    assert_eq!(ports::silenced("pad"), "Output pad was silenced, because the last run ended unexpectedly.");
    assert_eq!(ports::refused("pad"), "Output pad refused a message: what is connected to it is too slow.");
    assert_eq!(
        ports::none_opened(Some("keyboard")),
        "no ports are opened: the page plays as keyboard, and sounds what the outputs get"
    );
    assert_eq!(
        ports::none_opened(None),
        "no ports are opened, and no input of the gear file has play = true: the page has no keys"
    );
    assert_eq!(ports::OVERRUN, "The system lost messages on their way here: the notes of all keys were ended.");
    assert_eq!(ports::connections(&[]), "Nothing is connected.");
    assert_eq!(ports::connections(&[("a", "b"), ("c", "d")]), "Connected: a to b, c to d.");
    assert_eq!(ports::input("keyboard", "piano", true), "keyboard (\"piano\") is connected");
    assert_eq!(ports::input("keyboard", "piano", false), "keyboard (\"piano\") is not connected yet");
    assert_eq!(ports::output("desk", "mixer", true), "desk goes to \"mixer\"");
    assert_eq!(ports::output("desk", "mixer", false), "desk (\"mixer\") is not connected yet");
    assert_eq!(ports::own_output("pad", "handspan"), "pad waits as port \"pad\" of \"handspan\"");
    assert_eq!(ports::not_connected("desk", false), "desk (not connected)");
    assert_eq!(ports::not_connected("pad", true), "pad (nothing connected)");
}

#[test]
fn the_performance_itself() {
    assert_eq!(performance::set("Tonight", 2), "Tonight: 2 songs and pauses");
    assert_eq!(performance::begins("1.0", "set.toml"), "handspan 1.0 plays set.toml");
    assert_eq!(
        performance::GOES_ON,
        "The last run ended unexpectedly: the set goes on where it was, and sends nothing again."
    );
    assert_eq!(
        performance::BEGINS_AGAIN,
        "The last run ended unexpectedly, but the maps have changed since: the set begins again."
    );
    assert_eq!(performance::ENDED, "The performance has just ended.");
    assert_eq!(
        performance::STARTED_AGAIN,
        "The engine failed and was started again: all notes have ended, the set goes on here. Please report this."
    );
    assert_eq!(performance::end(0, 0, 0), ["The end: every note has ended, every pedal is up."]);
    assert_eq!(
        performance::end(2, 3, 4)[1..],
        [
            "2 notes lay outside the MIDI range and were not sent.",
            "3 messages were refused by an output.",
            "4 reports were lost, because they were not read in time.",
        ]
    );
    assert_eq!(performance::reports_lost(1), "One report was lost, because it was not read in time.");
    assert_eq!(performance::recorded_in(&"takes"), "recorded in \"takes\"");
    assert_eq!(
        performance::take_incomplete(3),
        "3 messages are missing from the take: they could not be written in time."
    );
    assert_eq!(
        performance::take_ended(&"disk full"),
        "The take ends here (disk full); what was recorded before can be read, the music goes on."
    );
    assert_eq!(performance::log_incomplete(3), "3 lines are missing: they could not be written in time");
    assert_eq!(
        performance::log_ended("a.log", &"disk full"),
        "The log a.log cannot be written any longer (disk full); the music goes on."
    );
    assert_eq!(performance::NOT_SAVED, "Nothing is saved for a restart: this system has no folder for that.");
    assert_eq!(
        performance::cannot_save(&"disk full"),
        "Song, section and key cannot be saved for a restart (disk full)."
    );
    assert_eq!(
        performance::unreachable(&"no folder"),
        "`handspan do` and `handspan status` cannot reach this performance: no folder."
    );
    assert_eq!(sentence(&"it is stuck"), "It is stuck.");
    assert_eq!(sentence(&"is it?"), "Is it?");
}

#[test]
fn the_page() {
    let tablet = page::name(3, &"192.0.2.7");
    assert_eq!(page::connected(&tablet, true), "page 3 at 192.0.2.7: connected, can control");
    assert_eq!(page::connected(&tablet, false), "page 3 at 192.0.2.7: connected, view only");
    assert_eq!(page::disconnected(&tablet), "page 3 at 192.0.2.7: disconnected");
    assert_eq!(page::wrong_passcode(&tablet), "page 3 at 192.0.2.7: wrong passcode");
    assert_eq!(page::more_came(37, 0), "37 more pages in the last minute");
    assert_eq!(page::more_came(0, 1), "1 more wrong passcode in the last minute");
    assert_eq!(page::more_came(1, 2), "1 more page and 2 more wrong passcodes in the last minute");
    assert_eq!(page::address("http://127.0.0.1:7340/"), "the page is at http://127.0.0.1:7340/");
    assert_eq!(
        page::IN_A_NETWORK,
        "nothing on it is encrypted: others in the network can read and change what page and program send; use a network \
         of your own, and a long passcode that is used nowhere else"
    );
    assert_eq!(
        performance::OTHERS_TRYOUT,
        "Another `try` runs: `handspan do` and `handspan status` reach that one, and this one is steered by its page alone."
    );
    assert_eq!(
        ports::without_ports("set.toml"),
        "Without any, `handspan play set.toml --no-ports` is the whole performance on a page of this machine, and \
         `handspan try set.toml` plays the set there."
    );
    assert_eq!(page::not_opened(&"no port"), "no port; the music goes on without it");
    assert_eq!(
        page::needed_without_ports(&page::OFF),
        "without ports only the page can be played on, and it cannot be opened: the gear file says listen = \"off\" below \
         [stand]."
    );
    assert_eq!(page::TOO_LATE, "That came too late: press again.");
    assert_eq!(page::JUST_MOVED, "The set has just moved: look, and press again.");
    assert_eq!(page::AT_THE_COMPUTER, "A song is added at the computer: handspan do add-song FILE.");
    assert_eq!(page::PAGE_AT_THE_COMPUTER, "What concerns the page itself is done at the computer.");
    assert_eq!(
        page::NOT_YOUR_FILE,
        "The set is saved by the user who plays it, or with a passcode: handspan do save-set."
    );
    assert_eq!(page::OTHER_PASSCODES, "The passcodes have changed: every page is asked again.");
    assert_eq!(page::WAITS_FORGOTTEN, "Nobody waits for a wrong passcode any longer.");
    assert_eq!(page::ALL_DISCONNECTED, "All pages are disconnected; each is asked for the passcode again.");
    assert_eq!(page::CLOSED, "The page is closed until the next start.");
    assert_eq!(page::NO_PAGE, "There is no page.");
    assert_eq!(page::VIEW_ONLY, "This page is view only: it cannot control the set.");
    assert_eq!(page::TOO_MUCH, "Too much at once: wait for what was pressed before.");
    assert_eq!(page::OTHER_VERSION, "This page is of another version: load it again.");
    assert_eq!(page::TOO_MANY, "Too many pages are connected at this moment.");
    assert_eq!(page::PASSCODE_WANTED, "This stand asks for its passcode.");
    assert_eq!(page::PASSCODE_WRONG, "That is not the passcode.");
    assert_eq!(page::TOO_MANY_PASSCODES, "Too many wrong passcodes: wait a little.");
}

/// What is said of the only zone of a song, or of its drone, besides where its notes go.
fn zone(fields: &str) -> Vec<String> {
    let song = format!(
        "title = \"Lantern\"\nkey = \"C\"\n[[zone]]\nsound = \"grand\"\n{fields}\n[[section]]\nname = \"Verse\"\n\
         chords = \"C\"\n[[section]]\nname = \"Chorus\"\nchords = \"D\"\n"
    );
    let book = book_of(&song);
    let song = &book.songs[0];
    let keys = Keys { shift: 0, ..Keys::of(&book, &book.set.entries[0], song) };
    let words = zones::words(&book, song, &keys, Detail::Helping);
    words.iter().map(|line| line[7..].to_owned()).collect()
}

#[test]
fn what_a_zone_makes_of_its_keys() {
    let range = "within = [\"G2\", \"G3\"]\n";
    for (fields, said) in [
        ("octave = -1", &["-12 semitones"][..]),
        (range, &["within G2–G3"]),
        ("velocity = [60, 90]\nlevel = -8.0", &["velocity 60–90, -8 dB"]),
        ("sections = [\"Verse\"]\nexclusive = true", &["in Verse, its keys go to no other zone"]),
        ("on = false", &["off until turned on"]),
        (
            "plays = \"root\"\nlinger = \"next\"\nfade_ms = 3000",
            &[
                "follows the chord: its root, until the next chord",
                "a tune over a chord that is held changes nothing",
                "one or two keys change nothing, save a bare fifth or a broken chord",
                "fades out over 3 s",
            ],
        ),
        (
            "plays = \"root-fifth\"\nmin_keys = 2",
            &[
                "follows the chord: its root and fifth, while a key is held",
                "a tune over a chord that is held changes nothing",
                "single notes change nothing",
            ],
        ),
        (
            "plays = \"chord\"\nmin_keys = 4\nwithin = [\"G2\", \"G3\"]",
            &[
                "within G2–G3",
                "follows the chord: each of its notes, moving as little as it can, while a key is held",
                "a tune over a chord that is held changes nothing",
                "fewer than 4 keys change nothing",
            ],
        ),
        ("plays = \"lowest\"", &["takes the lowest key alone, at once, while a key is held"]),
        ("plays = \"highest\"", &["takes the highest key alone, at once, while a key is held"]),
        (
            "one_key_chord = true",
            &[
                "one finger plays the chord written on its key; one chord at a time",
                "a key without a name plays its root and fifth",
            ],
        ),
        ("linger = \"next\"", &["notes are held until you play again: move your hand without a gap"]),
        ("linger = \"toggle\"", &["a note is held until you strike its key again"]),
        ("stay_in_key = \"nearest\"", &["a wrong note sounds as the nearest that fits: •, and ◦ in some sections"]),
        ("stay_in_key = \"silent\"", &["only keys that fit sound: •, and ◦ in some sections"]),
        (
            "velocity = [100, 127]\nvelocity_by = \"handful\"",
            &["velocity 100–127", "one note that hard lets in all that are struck with it"],
        ),
        (
            "[drone]\nsound = \"warm\"\ndegrees = [1, 5]\noctave = 3\nfade_ms = 4000",
            &[
                "Eb3 Bb3 → piano 2: sounds from when you turn it on until you turn it off",
                "goes on into the next song, and moves to its key with your first chord there",
                "fades out over 4 s",
            ],
        ),
    ] {
        assert_eq!(zone(fields), said, "{fields}");
    }
}

#[test]
fn whom_a_key_suits_is_said_in_one_line() {
    use crate::evening::Suits;
    assert_eq!(keys::suits(&[("Ida", Suits::Well)]), "good for Ida");
    let all =
        [("Ida", Suits::Not), ("Tom", Suits::Well), ("Ada", Suits::Just), ("Mia", Suits::Well), ("Eva", Suits::Well)];
    assert_eq!(keys::suits(&all), "good for Tom, Mia and Eva, within reach of Ada, not for Ida");
}

#[test]
fn a_finding_is_one_line() {
    use crate::map::{Diagnostic, Source, Spot};
    let sources =
        [Source { path: "ida/concert/snow.toml".to_owned(), text: "title = \"Snow\"\nkey = \"D\"\n".to_owned() }];
    let spot = Spot { file: 0, start: 15, end: 20 };
    let hint = Diagnostic::hint(spot, "the melody goes up to C6").help("write key = \"C\"");
    assert_eq!(
        super::page::finding(&hint.listed(&sources), &sources),
        "The melody goes up to C6. (snow.toml, line 2) Write key = \"C\"."
    );
}
