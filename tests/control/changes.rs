//! The set is changed while it is played: at once, checked, over saved maps, and into the file when asked.

use std::fs;
use std::os::unix::fs::PermissionsExt;

use handspan::daemon::control::Outcome;
use handspan::daemon::{Happened, Show, changes, persist};

use crate::evening::{BELLS, Evening, LANTERN, SET, read};

const UNSAVED: &str = "Until it is saved with save-set it holds for this run only.";

#[test]
fn a_guest_singer_gets_her_key_at_once() {
    let evening = Evening::begin();
    assert_eq!(evening.music(1), 60);
    let said = evening.done("song-key Lantern Eb");
    assert_eq!(said, format!("\"Lantern\" is in Eb tonight. New notes sound in Eb already. {UNSAVED}"));
    assert_eq!(evening.music(1), 63);
    assert_eq!(evening.done("song-key nine bells Dm"), format!("\"Nine Bells\" is in Dm tonight. {UNSAVED}"));
    evening.done("song 3");
    assert_eq!(evening.music(1), 65);
}

#[test]
fn a_key_that_was_gone_to_by_hand_stays_what_is_heard() {
    let evening = Evening::begin();
    evening.done("key Eb");
    let said = evening.done("song-key Lantern Eb");
    assert!(said.contains("sound in Eb already"), "what was tried is written down: {said}");
    assert_eq!((evening.music(1), evening.state().song.unwrap().keys.transposed_by_hand), (63, 0));
    evening.done("lower-key");
    let said = evening.done("song-key Lantern F");
    assert!(said.contains("The room stays in D, because the key was changed by hand"), "{said}");
    assert_eq!(evening.music(1), 62);
    evening.done("tonights-key");
    assert_eq!(evening.music(1), 65);
}

#[test]
fn a_held_note_ends_as_it_began() {
    let evening = Evening::begin();
    evening.world.message(0, &[0x90, 60, 90]);
    let sounding = || evening.world.take_sent().into_iter().map(|(_, bytes)| bytes).collect::<Vec<_>>();
    while !sounding().contains(&vec![0x90, 60, 90]) {}
    evening.done("song-key Lantern Eb");
    evening.world.message(0, &[0x80, 60, 64]);
    let deadline = std::time::Instant::now() + crate::evening::PATIENCE;
    while !sounding().contains(&vec![0x80, 60, 64]) {
        assert!(std::time::Instant::now() < deadline);
    }
}

#[test]
fn a_song_is_moved_and_the_current_one_stays_current() {
    let evening = Evening::begin();
    assert_eq!(evening.done("move-song Lantern 3"), format!("\"Lantern\" is 3 of 3 now. {UNSAVED}"));
    assert_eq!(evening.titles(), ["Welcome", "Nine Bells", "Lantern"]);
    assert_eq!((evening.state().entry.position, evening.state().entry.title.as_str()), (3, "Lantern"));
    assert_eq!(evening.done("previous-song"), "2/3 Nine Bells, room Am.");
    // A place in the set may stand for the title.
    evening.done("move-song 1 2");
    assert_eq!(evening.titles(), ["Nine Bells", "Welcome", "Lantern"]);
}

#[test]
fn a_song_is_added_at_the_end() {
    let evening = Evening::begin();
    fs::write(evening.file("encore.toml"), LANTERN.replace("Lantern", "Encore")).unwrap();
    let file = evening.file("encore.toml").display().to_string();
    let (outcome, said) = evening.say(&["add-song", &file, "F"]);
    assert_eq!((outcome, said), (Outcome::Done, format!("\"Encore\" is the last of 4 now, in F. {UNSAVED}")));
    // From the set's own folder; and one that is there already is the same song.
    evening.done("add-song lantern.toml");
    evening.say(&["add-song", &evening.file("lantern.toml").display().to_string()]);
    assert_eq!(evening.titles(), ["Lantern", "Welcome", "Nine Bells", "Encore", "Lantern", "Lantern"]);
    assert_eq!(evening.remote.show().book.songs.len(), 3);
    evening.done("song Encore");
    assert_eq!(evening.music(1), 65);
    // Of several with one title, a place says which.
    evening.done("song-key 5 G");
    assert!(evening.done("song 5").contains("room G"));
}

#[test]
fn a_song_leaves_the_set_and_a_singer_is_named() {
    let evening = Evening::begin();
    assert_eq!(evening.music(1), 60);
    let said = evening.done("remove-song nine bells");
    assert_eq!(said, format!("\"Nine Bells\" is in the set no longer, which has 2 now. {UNSAVED}"));
    assert_eq!(evening.titles(), ["Lantern", "Welcome"]);
    let last = evening.say(&["remove-song", "Lantern"]);
    assert!(last.0 == Outcome::Failed && last.1.starts_with("The set has no song"), "{last:?}");
    // The current one may go too, as long as there is another.
    let evening = Evening::begin();
    evening.done("remove-song Lantern");
    assert_eq!(evening.titles(), ["Welcome", "Nine Bells"]);
    assert!(evening.done("song 2").contains("Nine Bells"));
    let evening = Evening::begin();
    evening.forget_reports();
    fs::write(evening.file("set.toml"), format!("{SET}\n[singers.guest]\nrange = [\"A3\", \"D5\"]\n")).unwrap();
    evening.maps();
    let said = evening.done("song-singer Lantern guest");
    assert_eq!(said, format!("\"Lantern\" is sung by guest tonight. {UNSAVED}"));
    evening.done("song-singer Nine Bells guest");
    evening.done("song-singer Lantern nobody");
    assert_eq!(evening.state().set.unsaved.len(), 2, "what is told last counts: {:?}", evening.state().set.unsaved);
    evening.done("save-set");
    assert_eq!(evening.text("set.toml").matches("singer = \"guest\"").count(), 1);
}

#[test]
fn what_does_not_fit_is_refused_and_changes_nothing() {
    let evening = Evening::begin();
    fs::write(evening.file("broken.toml"), "title = \"Broken\nkey = \"C\"\n").unwrap();
    for (words, outcome, said) in [
        ("song-key Lantern H", Outcome::Wrong, "\"H\" is no key"),
        (
            "song-key Lantern Cm",
            Outcome::Failed,
            "The room's key is minor, but the song is in C, which is major: write \"C\".",
        ),
        ("song-key Welcome C", Outcome::Wrong, "\"Welcome\" is a pause, which has no key."),
        ("song-key Lantren C", Outcome::Wrong, "did you mean \"Lantern\"?"),
        ("song-key", Outcome::Wrong, "\"song-key\" needs a title and a key"),
        ("song-key Lantern", Outcome::Wrong, "\"song-key\" needs a title and a key"),
        ("move-song Lantern 4", Outcome::Wrong, "There is no position 4: the set has 3, counted from 1."),
        ("move-song Lantern 0", Outcome::Wrong, "There is no position 0"),
        ("move-song Lantern down", Outcome::Wrong, "There is no position down"),
        ("remove-song", Outcome::Wrong, "\"remove-song\" needs a title"),
        ("remove-song Lantren", Outcome::Wrong, "did you mean \"Lantern\"?"),
        ("song-singer Lantern", Outcome::Wrong, "\"song-singer\" needs a title and a singer"),
        ("song-singer Lantern guest", Outcome::Failed, "The set has no singer \"guest\": none stands in its file"),
        ("song-singer Welcome guest", Outcome::Wrong, "\"Welcome\" is a pause, which has no singer."),
        ("move-song 2", Outcome::Wrong, "\"move-song\" needs a title and a new position"),
        ("add-song", Outcome::Wrong, "\"add-song\" needs a song's map"),
        (
            "add-song nowhere.toml",
            Outcome::Failed,
            "nowhere.toml\" cannot be read: there is no such file: it is looked for from here",
        ),
        ("add-song broken.toml", Outcome::Failed, "broken.toml, line 1\n"),
        ("add-song gear.toml", Outcome::Failed, "gear"),
        ("add-song set.toml", Outcome::Failed, "set.toml"),
        ("add-song bells.toml H", Outcome::Wrong, "\"H\" is no key"),
        ("add-song bells.toml C", Outcome::Failed, "minor"),
        ("save-set", Outcome::Failed, "Nothing was changed since the set was last saved."),
        ("save-set now", Outcome::Wrong, "\"save-set\" takes nothing more after it"),
    ] {
        evening.answers(words, outcome, said);
    }
    assert_eq!(evening.titles(), ["Lantern", "Welcome", "Nine Bells"]);
    assert_eq!(evening.state().set.unsaved, Vec::<String>::new());
    assert_eq!((evening.text("set.toml"), evening.music(1)), (SET.to_owned(), 60));
}

#[test]
fn changes_survive_maps_that_are_saved_meanwhile() {
    let evening = Evening::begin();
    evening.done("song-key Lantern Eb");
    evening.done("move-song Nine Bells 1");
    evening.done("song-key Lantern F");
    assert_eq!(
        evening.state().set.unsaved,
        ["song-key \"Lantern\" Eb", "move-song \"Nine Bells\" 1", "song-key \"Lantern\" F"]
    );
    evening.forget_reports();
    fs::write(
        evening.file("lantern.toml"),
        LANTERN.replacen("sound = \"grand\"\n", "sound = \"grand\"\noctave = 1\n", 1),
    )
    .unwrap();
    evening.maps();
    assert_eq!(evening.music(1), 77, "an octave up, and still in F");
    assert_eq!(evening.titles()[0], "Nine Bells");
    // The set itself is saved with a song more, and its order in another way.
    fs::write(evening.file("set.toml"), format!("{SET}\n[[song]]\ntitle = \"Talk\"\n")).unwrap();
    evening.maps();
    assert_eq!(evening.titles(), ["Nine Bells", "Lantern", "Welcome", "Talk"]);
}

#[test]
fn a_change_that_no_longer_fits_is_told_and_left_out() {
    let evening = Evening::begin();
    evening.done("song-key Nine Bells Dm");
    evening.done("song-key Lantern Eb");
    evening.forget_reports();
    let without = SET.replace("# Quiet.\n[[song]]\nmap = \"bells.toml\"\n", "");
    fs::write(evening.file("set.toml"), without).unwrap();
    evening.maps();
    let told = loop {
        if let Happened::ChangesDropped(told) = evening.reports.recv_timeout(crate::evening::PATIENCE).unwrap().what {
            break told;
        }
    };
    assert_eq!(*told, ["song-key \"Nine Bells\" Dm: there is no song \"Nine Bells\" in this set"]);
    assert_eq!((evening.music(1), evening.state().set.unsaved), (63, vec!["song-key \"Lantern\" Eb".to_owned()]));
}

#[test]
fn saving_writes_the_changes_and_nothing_else() {
    let evening = Evening::begin();
    fs::set_permissions(evening.file("set.toml"), fs::Permissions::from_mode(0o640)).unwrap();
    evening.done("song-key Lantern Eb");
    evening.done("move-song Nine Bells 1");
    let said = evening.done("save-set");
    assert!(said.starts_with("Saved to ") && said.contains("set.toml.bak"), "{said}");
    let expected = "# Ours.\ntitle = \"Tonight\"\ngear = \"gear.toml\"\n\n# Quiet.\n[[song]]\nmap = \"bells.toml\"\n\n\
                    [[song]] # opens\nmap = \"lantern.toml\"\nkey = \"Eb\"\n\n[[song]]\ntitle = \"Welcome\"\n";
    assert_eq!(evening.text("set.toml"), expected);
    assert_eq!((evening.text("set.toml.bak").as_str(), evening.text("set.toml.original").as_str()), (SET, SET));
    let mode = |name: &str| fs::metadata(evening.file(name)).unwrap().permissions().mode() & 0o777;
    assert_eq!((mode("set.toml"), mode("set.toml.bak")), (0o640, 0o640));
    assert_eq!(evening.state().set.unsaved, Vec::<String>::new());
    assert_eq!(evening.music(1), 63);
    assert_eq!(evening.say(&["save-set"]).0, Outcome::Failed, "nothing is left to save");
    let left: Vec<_> = fs::read_dir(evening.folder.path()).unwrap().map(|file| file.unwrap().file_name()).collect();
    assert_eq!(left.len(), 7, "no passing files stay: {left:?}");
}

#[test]
fn the_first_original_stays_however_often_the_set_is_saved() {
    let evening = Evening::begin();
    for key in ["Eb", "F", "G"] {
        evening.done(&format!("song-key Lantern {key}"));
        evening.done("save-set");
    }
    assert_eq!(evening.text("set.toml.original"), SET);
    assert!(evening.text("set.toml.bak").contains("key = \"F\""));
}

#[test]
fn a_write_protected_set_is_not_replaced() {
    let evening = Evening::begin();
    evening.done("song-key Lantern F");
    fs::set_permissions(evening.file("set.toml"), fs::Permissions::from_mode(0o444)).unwrap();
    let (outcome, said) = evening.say(&["save-set"]);
    assert!(outcome == Outcome::Failed && said.contains("is write-protected"), "{said}");
    assert_eq!(evening.text("set.toml"), SET);
    assert!(!evening.file("set.toml.bak").exists() && !evening.file("set.toml.original").exists());
}

#[test]
fn what_cannot_be_saved_loses_nothing() {
    let evening = Evening::begin();
    evening.done("song-key Lantern Eb");
    // A folder lies where the old set would be kept.
    fs::create_dir(evening.file("set.toml.bak")).unwrap();
    let (outcome, said) = evening.say(&["save-set"]);
    assert!(outcome == Outcome::Failed && said.contains("set.toml.bak cannot be written"), "{said}");
    assert_eq!(evening.text("set.toml"), SET);
    assert_eq!((evening.state().set.unsaved.len(), evening.music(1)), (1, 63));
    fs::remove_dir(evening.file("set.toml.bak")).unwrap();
    evening.done("save-set");
    assert!(evening.text("set.toml").contains("key = \"Eb\""));
}

#[test]
fn a_set_on_disk_that_has_errors_is_not_written_over() {
    let evening = Evening::begin();
    evening.done("song-key Lantern Eb");
    evening.forget_reports();
    let broken = SET.replace("gear.toml", "gear.tom");
    fs::write(evening.file("set.toml"), &broken).unwrap();
    let (outcome, said) = evening.say(&["save-set"]);
    assert!(outcome == Outcome::Failed && said.contains("errors"), "{said}");
    assert_eq!(evening.text("set.toml"), broken);
    // Meanwhile the set can be changed further: what is played has no errors.
    evening.done("song-key Lantern F");
    assert_eq!(evening.music(1), 65);
}

#[test]
fn a_set_that_is_a_link_stays_one() {
    let evening = Evening::begin();
    evening.done("song-key Lantern Eb");
    fs::rename(evening.file("set.toml"), evening.file("tonight.toml")).unwrap();
    std::os::unix::fs::symlink("tonight.toml", evening.file("set.toml")).unwrap();
    evening.done("save-set");
    assert!(fs::symlink_metadata(evening.file("set.toml")).unwrap().is_symlink());
    assert!(evening.text("tonight.toml").contains("key = \"Eb\"") && evening.text("tonight.toml.bak") == SET);
}

#[test]
fn a_performance_that_ended_unexpectedly_goes_on_with_its_changes() {
    let evening = Evening::begin();
    let show = evening.remote.show();
    let told = {
        evening.done("song-key Nine Bells Dm");
        evening.done("song 3");
        evening.remote.show()
    };
    let kept = persist::SavedState {
        maps: told.fingerprint(),
        ended_well: false,
        standing: Default::default(),
        cues: Vec::new(),
        zones: Vec::new(),
        connections: Vec::new(),
        changes: told.changes.clone(),
    };
    let kept: persist::SavedState = serde_json::from_str(&serde_json::to_string(&kept).unwrap()).unwrap();
    let changed = changes::load(&show.book.sources[0].path, read, &kept.changes);
    let again = handspan::daemon::Show::changed(changed.loaded.book.unwrap(), changed.changes);
    assert_eq!(again.changes, told.changes);
    assert!(matches!(persist::Beginning::after(Some(kept.clone()), &again), persist::Beginning::GoOn(_)));
    let beginning = persist::Beginning::after(Some(kept), &show);
    assert!(matches!(beginning, persist::Beginning::Changed(_)), "without them it is another set");
}

#[test]
fn changes_and_saves_at_one_moment_lose_none() {
    let evening = Evening::begin();
    std::thread::scope(|scope| {
        scope.spawn(|| {
            for octave in 0..10 {
                fs::write(evening.file("bells.toml"), format!("{BELLS}octave = {}\n", octave % 4)).unwrap();
                evening.music(2);
            }
        });
        for round in 0..20 {
            let key = if round % 2 == 0 { "Eb" } else { "F" };
            evening.done(&format!("song-key Lantern {key}"));
            evening.done("next-section");
            evening.done("previous-section");
        }
    });
    assert_eq!(evening.state().set.unsaved, ["song-key \"Lantern\" F"]);
    assert_eq!(evening.music(1), 65);
    assert_eq!(evening.titles(), ["Lantern", "Welcome", "Nine Bells"]);
}

#[test]
fn what_is_not_saved_belongs_to_the_set_however_it_is_named() {
    let evening = Evening::begin();
    evening.done("adjust-zone grand octave 1");
    evening.done("song-key Lantern Eb");
    let told = evening.remote.show();
    // As after a kill, from another folder.
    let folder = evening.folder.path();
    let elsewhere = folder.join("run/../set.toml").display().to_string();
    let changed = changes::load(&elsewhere, read, &told.changes);
    assert_eq!((changed.changes.as_slice(), changed.dropped), (told.changes.as_slice(), Vec::new()));
    let again = Show::changed(changed.loaded.book.expect("a set"), changed.changes);
    assert_eq!(again.book.songs[0].zones[0].octave, 1);
    assert_eq!(again.fingerprint(), told.fingerprint(), "it goes on where it stood");
}

#[test]
fn a_rehearsal_adjusts_the_song_that_is_played() {
    let evening = Evening::begin();
    assert_eq!(evening.done("adjust-zone grand octave 1"), format!("grand: octave 1. {UNSAVED}"));
    assert_eq!(evening.music(1), 72);
    assert_eq!(evening.done("adjust-zone 1 octave -1"), format!("grand: octave -1. {UNSAVED}"), "by its position");
    assert_eq!(evening.music(1), 48);
    evening.done("adjust-zone grand level -6");
    evening.done("adjust-zone bed on on");
    assert!(evening.state().song.unwrap().zones[1].on, "turned at once");
    evening.done("adjust-zone bed keys A0 B2");
    evening.done("adjust-zone bed linger next");
    evening.done("adjust-song tempo 92.5");
    assert_eq!(evening.state().tempo, Some(92.5));
    let words = [
        "adjust-zone \"grand\" octave 1",
        "adjust-zone \"grand\" octave -1",
        "adjust-zone \"grand\" level -6",
        "adjust-zone \"bed\" on on",
        "adjust-zone \"bed\" keys A0 B2",
        "adjust-zone \"bed\" linger next",
        "adjust-song tempo 92.5",
    ];
    assert_eq!(evening.state().set.unsaved, words);
    assert_eq!(evening.text("lantern.toml"), LANTERN, "nothing is written before it is asked for");
    for taken_back in words.iter().rev().take(4) {
        assert_eq!(evening.done("undo-change"), format!("Taken back: {taken_back}."));
    }
    assert!(!evening.state().song.unwrap().zones[1].on, "turned back");
    evening.done("song-key Lantern D");
    let said = evening.done("save-set");
    assert!(
        said.starts_with("Saved to ") && said.contains("lantern.toml.bak") && said.contains("set.toml.bak"),
        "{said}"
    );
    let own = "sound = \"grand\"\n";
    let text = LANTERN.replacen(own, &format!("{own}octave = -1\nlevel = -6\n"), 1);
    assert_eq!(evening.text("lantern.toml"), text);
    assert_eq!(
        (evening.text("lantern.toml.bak"), evening.text("lantern.toml.original")),
        (LANTERN.into(), LANTERN.into())
    );
    let state = evening.state();
    assert_eq!((state.set.unsaved, state.song.unwrap().keys.room), (Vec::<String>::new(), "D".to_owned()));
}

#[test]
fn what_cannot_be_adjusted_is_said_and_changes_nothing() {
    let evening = Evening::begin();
    for (words, outcome, said) in [
        ("adjust-zone", Outcome::Wrong, "\"adjust-zone\" needs a zone, a field"),
        ("adjust-zone grand", Outcome::Wrong, "\"adjust-zone\" needs a zone, a field"),
        ("adjust-zone grand volume 3", Outcome::Wrong, "\"adjust-zone\" needs a zone, a field"),
        ("adjust-zone level -3", Outcome::Wrong, "\"adjust-zone\" needs a zone, a field"),
        ("adjust-zone gran level -3", Outcome::Wrong, "The song has no zone \"gran\": did you mean \"grand\"?"),
        ("adjust-zone grand level loud", Outcome::Wrong, "\"loud\" is no level: write a number"),
        ("adjust-zone grand keys C3", Outcome::Wrong, "\"C3\" is no keys: write the lowest and the highest note"),
        ("adjust-zone grand keys C5 C3", Outcome::Failed, "has its highest note first"),
        ("adjust-zone grand linger long", Outcome::Failed, "\"linger\" takes one of"),
        ("adjust-song", Outcome::Wrong, "\"adjust-song\" needs tempo and a value"),
        ("adjust-song tempo 1000", Outcome::Failed, "\"tempo\" takes a number from 10 to 400"),
        ("undo-change", Outcome::Failed, "there is nothing to undo"),
    ] {
        evening.answers(words, outcome, said);
    }
    assert_eq!(evening.state().set.unsaved, Vec::<String>::new());
    assert_eq!(evening.music(1), 60);
}

#[test]
fn what_is_adjusted_survives_maps_that_are_saved_meanwhile() {
    let evening = Evening::begin();
    evening.done("adjust-zone grand octave 1");
    evening.done("song-key Lantern D");
    evening.forget_reports();
    fs::write(
        evening.file("lantern.toml"),
        LANTERN.replacen("sound = \"grand\"\n", "sound = \"grand\"\ntranspose = 3\n", 1),
    )
    .unwrap();
    evening.maps();
    assert_eq!(evening.music(1), 77, "an octave, a whole tone and what was saved");
}
