//! Single keys of the terminal, while `play` runs in one.

use std::io::IsTerminal;
use std::thread;

use crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use crossterm::terminal::{disable_raw_mode, enable_raw_mode};

use crate::daemon::{Instruction, Remote};
use crate::engine::{Action, Plain};
use crate::map::USUAL_FADE;

/// What the keys do, for `--help`.
pub(super) const KEYS_HELP: &str = "Keyboard shortcuts, while it runs in a terminal:
  down, up      next song, previous song
  right, left   next section, previous section
  +, -          a semitone up, a semitone down
  0             back to tonight's key
  1 to 9        turn a zone of the song on or off, in the order of its map
  t             from the top: enter the song again
  a             send again what entering the song sends to other machines
  d             the drone on, or off again
  f             fade the held notes, over 2 s
  b             a beat: four or more give the tempo
  s             set up all sounds again
  !             panic: all notes off
  q             end, with every note ended and every pedal lifted

Examples:
  handspan play maps/midwinter.toml
  handspan play maps/midwinter.toml --no-ports      with nothing plugged in, on the page";

/// The terminal in single-key mode; put back when dropped.
pub(super) struct SingleKeys;

impl SingleKeys {
    /// Takes the terminal's keys to the daemon, if there is a terminal to type in. What a key asks for, `None` for the
    /// end, is handed to `asked` first.
    pub(super) fn begin(remote: Remote, asked: impl Fn(Option<Instruction>) + Send + 'static) -> Option<SingleKeys> {
        if !std::io::stdin().is_terminal() || enable_raw_mode().is_err() {
            return None;
        }
        // The thread ends with the process: reading a terminal cannot be called off.
        thread::Builder::new().name("keys".to_owned()).spawn(move || read_keys(&remote, &asked)).ok()?;
        Some(SingleKeys)
    }
}

impl Drop for SingleKeys {
    fn drop(&mut self) {
        let _ = disable_raw_mode();
    }
}

fn read_keys(remote: &Remote, asked: &dyn Fn(Option<Instruction>)) {
    while let Ok(event) = event::read() {
        let Event::Key(key) = event else { continue };
        if key.kind == KeyEventKind::Release {
            continue;
        }
        match meaning(key) {
            Some(Meaning::Give(command)) => {
                asked(Some(command));
                remote.give(command);
            }
            Some(Meaning::Stop) => {
                asked(None);
                remote.stop();
            }
            None => {}
        }
    }
    // The terminal is gone: the system says so with a signal of its own, and this thread has nothing more to do.
}

#[derive(Debug, PartialEq, Eq)]
enum Meaning {
    Give(Instruction),
    Stop,
}

fn meaning(key: KeyEvent) -> Option<Meaning> {
    let action = match key.code {
        KeyCode::Char('c' | 'd') if key.modifiers.contains(KeyModifiers::CONTROL) => return Some(Meaning::Stop),
        KeyCode::Char('q') => return Some(Meaning::Stop),
        KeyCode::Down => Action::Plain(Plain::NextSong),
        KeyCode::Up => Action::Plain(Plain::PreviousSong),
        KeyCode::Right => Action::Plain(Plain::NextSection),
        KeyCode::Left => Action::Plain(Plain::PreviousSection),
        KeyCode::Char('+') => Action::Plain(Plain::RaiseKey),
        KeyCode::Char('-') => Action::Plain(Plain::LowerKey),
        KeyCode::Char('0') => Action::Plain(Plain::TonightsKey),
        KeyCode::Char('t') => Action::Plain(Plain::FromTheTop),
        KeyCode::Char('a') => Action::Plain(Plain::ResendMessages),
        KeyCode::Char('s') => Action::Plain(Plain::ResendSounds),
        KeyCode::Char('d') => Action::Drone(None),
        KeyCode::Char('f') => Action::Fade(USUAL_FADE),
        KeyCode::Char('b') => Action::Plain(Plain::Tap),
        KeyCode::Char('!') => Action::Plain(Plain::Panic),
        KeyCode::Char(digit @ '1'..='9') => {
            return Some(Meaning::Give(Instruction::TurnZone(digit as usize - '1' as usize)));
        }
        _ => return None,
    };
    Some(Meaning::Give(Instruction::Action(action)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_do_what_the_front_page_on_paper_says() {
        let word = |key: &str| {
            let code = match key {
                "↓" => KeyCode::Down,
                "↑" => KeyCode::Up,
                "→" => KeyCode::Right,
                "←" => KeyCode::Left,
                other => KeyCode::Char(other.chars().next().expect("a letter")),
            };
            match meaning(KeyEvent::new(code, KeyModifiers::NONE)) {
                Some(Meaning::Give(Instruction::Action(action))) => action.word(),
                other => panic!("{key}: {other:?}"),
            }
        };
        for row in crate::wording::paper::STEERING {
            let words: Vec<_> = row.keys.split(' ').map(word).collect();
            assert_eq!(words, row.words, "{}", row.what);
        }
    }

    #[test]
    fn keys_mean_what_the_help_says() {
        let typed = |code| meaning(KeyEvent::new(code, KeyModifiers::NONE));
        let act = |action| Some(Meaning::Give(Instruction::Action(action)));
        assert_eq!(typed(KeyCode::Down), act(Action::Plain(Plain::NextSong)));
        assert_eq!(typed(KeyCode::Left), act(Action::Plain(Plain::PreviousSection)));
        assert_eq!(typed(KeyCode::Char('d')), act(Action::Drone(None)));
        assert_eq!(typed(KeyCode::Char('f')), act(Action::Fade(USUAL_FADE)));
        assert_eq!(typed(KeyCode::Char('b')), act(Action::Plain(Plain::Tap)));
        assert_eq!(typed(KeyCode::Char('!')), act(Action::Plain(Plain::Panic)));
        assert_eq!(typed(KeyCode::Char('1')), Some(Meaning::Give(Instruction::TurnZone(0))));
        assert_eq!(typed(KeyCode::Char('q')), Some(Meaning::Stop));
        assert_eq!(typed(KeyCode::Char('c')), None);
        assert_eq!(
            meaning(KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL)),
            Some(Meaning::Stop),
            "in single-key mode the terminal sends no signal for it"
        );
    }
}
