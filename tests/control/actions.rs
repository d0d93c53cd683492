//! Every action, said through the socket: what happens, and the sentence on it.

use handspan::daemon::control::Outcome;
use handspan::map::Word;

use crate::evening::Evening;

#[test]
fn actions_are_done_and_told_in_a_sentence() {
    let evening = Evening::begin();
    for (words, said) in [
        ("next-section", "Chorus (2 of 2), room C."),
        ("previous-section", "Verse (1 of 2), room C."),
        ("section Chorus", "Chorus (2 of 2), room C."),
        ("section Chorus", "Chorus is current already: nothing has changed."),
        ("raise-key", "Room Db, +1 from tonight's key."),
        ("lower-key", "Room C, tonight's key."),
        ("key Eb", "Room Eb, +3 from tonight's key."),
        ("tonights-key", "Room C, tonight's key."),
        ("zone bed", "Zone bed is on."),
        ("zone bed off", "Zone bed is off."),
        ("drone on", "The drone is on."),
        ("drone", "The drone is off."),
        ("fade 100", "No note is held that could fade."),
        ("resend-messages", "The messages for the entry of \"Lantern\" were sent again."),
        ("resend-sounds", "All sounds were set up again."),
        ("panic", "Panic: everything is silent."),
        ("from-the-top", "1/3 Lantern, Verse (1 of 2), room C."),
        ("song 1", "\"Lantern\" is current already: nothing has changed."),
        ("next-song", "2/3 Welcome: a pause."),
        ("song nine bells", "3/3 Nine Bells, room Am."),
        ("previous-song", "2/3 Welcome: a pause."),
        ("song Lantern", "1/3 Lantern, Verse (1 of 2), room C."),
    ] {
        assert_eq!(evening.done(words), said, "{words}");
    }
    assert_eq!(evening.music(3), 60);
}

#[test]
fn every_word_for_an_action_is_known_here() {
    let evening = Evening::begin();
    for word in Word::known() {
        let (outcome, said) = evening.say(&[word]);
        assert!(!said.contains("no action"), "{word}: {said}");
        assert!(outcome != Outcome::Wrong || said.contains("needs"), "{word}: {said}");
    }
}

#[test]
fn what_cannot_be_done_says_why() {
    let evening = Evening::begin();
    for (words, said) in [
        ("previous-song", "The set begins here: there is no previous song."),
        ("previous-section", "Verse is the first section."),
        ("key Cm", "Nothing changes: that key is more than an octave away, or of the other mode."),
    ] {
        assert_eq!(evening.say(&words.split(' ').collect::<Vec<_>>()), (Outcome::Failed, said.to_owned()));
    }
    evening.done("song 3");
    for (words, said) in [
        ("next-song", "The set ends here: there is no next song."),
        ("zone bed", "\"Nine Bells\" has no zone \"bed\"."),
        ("section Chorus", "\"Nine Bells\" has no such section."),
        ("drone", "\"Nine Bells\" has no drone."),
    ] {
        assert_eq!(evening.say(&words.split(' ').collect::<Vec<_>>()), (Outcome::Failed, said.to_owned()));
    }
    evening.done("previous-song");
    let (outcome, said) = evening.say(&["next-section"]);
    assert_eq!((outcome, said.as_str()), (Outcome::Failed, "\"Welcome\" is a pause: it has no sections."));
}

#[test]
fn what_is_wrong_says_what_was_meant() {
    let evening = Evening::begin();
    for (words, said) in [
        ("nxt-song", "\"nxt-song\" is no action: did you mean \"next-song\"?"),
        ("song-kye", "\"song-kye\" is no action: did you mean \"song-key\"?"),
        ("next-song please", "\"next-song\" takes nothing more after it, or not this: \"next-song please\"."),
        ("song Lantren", "there is no song \"Lantren\" in this set: did you mean \"Lantern\"?"),
        ("section Vers", "there is no section \"Vers\" in this set: did you mean \"Verse\"?"),
        ("zone bad", "there is no zone \"bad\" in this set: did you mean \"bed\"?"),
        ("song", "\"song\" needs a title or its place in the set, counted from 1 after it."),
        ("key", "\"key\" needs a key such as Eb or C#m after it."),
    ] {
        assert_eq!(evening.say(&words.split(' ').collect::<Vec<_>>()), (Outcome::Wrong, said.to_owned()));
    }
    let (outcome, said) = evening.say(&["key", "H"]);
    assert!(outcome == Outcome::Wrong && said.contains("\"H\" is no key"), "{said}");
    let (outcome, said) = evening.say(&["trombone"]);
    assert!(outcome == Outcome::Wrong && said.contains("next-song, ") && said.contains("save-set"), "{said}");
    for nothing in [&[][..], &[""], &["", ""]] {
        assert_eq!(evening.say(nothing).0, Outcome::Wrong);
    }
    assert_eq!(evening.state().entry.position, 1, "nothing of all this did anything");
}
