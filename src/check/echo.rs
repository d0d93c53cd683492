//! Cues that what they send may set off again, where it goes to the device that they come from.

use super::stage::may_be_one_port;
use super::words::quoted;
use crate::map::{Action, At, Book, ClockCommand, Cue, Deed, Diagnostic, Does, Plain, SendMessage, Spot, Trigger};
use crate::midi::machine_control::Transport;

/// Hint: a cue that sends, itself or by the change that it makes, what would fire it again if the device sends it back.
pub(super) fn find(book: &Book, found: &mut Vec<Diagnostic>) {
    for cue in book.cues() {
        let Some((to, sent)) = says(book, cue) else { continue };
        let title = format!(
            "this cue may set itself off: what it sends to {} may come back from the input {}",
            quoted(&to.value),
            quoted(&cue.when.input.value)
        );
        let hint = Diagnostic::hint(cue.spot, title);
        let hint = if sent == cue.spot { hint } else { hint.also(sent, "sent by the change") };
        found.push(hint.help("see that the device does not answer with the message that it was sent"));
    }
}

/// The output that leads back to the cue's input, and where what is sent there stands.
fn says<'a>(book: &'a Book, cue: &'a Cue) -> Option<(&'a At<String>, Spot)> {
    let input = book.gear.inputs.iter().find(|input| input.name.value == cue.when.input.value)?;
    let returns = |to: &At<String>| {
        let output = book.gear.outputs.iter().find(|output| output.name.value == to.value);
        output.is_some_and(|output| may_be_one_port(output, input))
    };
    let fires = |to: &At<String>, message: &SendMessage| answers(cue.when.trigger, message) && returns(to);
    match &cue.does {
        Does::Send { to, message } => {
            let off = cue.off.as_ref().is_some_and(|off| fires(to, &off.message));
            (off || fires(to, message)).then_some((to, cue.spot))
        }
        Does::Act(Action::Plain(Plain::NextSong | Plain::PreviousSong | Plain::FromTheTop) | Action::Song(_)) => {
            let entries = book.set.entries.iter().flat_map(|entry| &entry.on_entering);
            sent_back(book.songs.iter().flat_map(|song| &song.on_entering).chain(entries), fires)
        }
        Does::Act(Action::Plain(Plain::NextSection | Plain::PreviousSection) | Action::Section(_)) => {
            let sections = book.songs.iter().flat_map(|song| &song.sections);
            sent_back(sections.flat_map(|section| &section.on_entering), fires)
        }
        _ => None,
    }
}

/// The first of these messages that fires the cue.
fn sent_back<'a>(
    deeds: impl Iterator<Item = &'a Deed>,
    fires: impl Fn(&At<String>, &SendMessage) -> bool,
) -> Option<(&'a At<String>, Spot)> {
    let sends = deeds.filter_map(|deed| match &deed.does {
        Does::Send { to, message } => Some((deed.spot, to, message)),
        Does::Act(_) => None,
    });
    let mut sends = sends.filter(|(_, to, message)| fires(to, message));
    sends.next().map(|(spot, to, _)| (to, spot))
}

/// Whether a message, if it came in, would be such an event.
fn answers(trigger: Trigger, message: &SendMessage) -> bool {
    let on = |wanted: Option<crate::midi::Channel>, channel| wanted.is_none_or(|wanted| wanted == channel);
    match (trigger, message) {
        (Trigger::Key { key, channel: wanted, .. }, SendMessage::Note { channel, note, .. }) => {
            key == u8::from(*note) && on(wanted, *channel)
        }
        (Trigger::Control { number, channel: wanted, .. }, SendMessage::Control { channel, number: sent, .. }) => {
            number == *sent && on(wanted, *channel)
        }
        (Trigger::Program { program, channel: wanted }, SendMessage::Program { channel, program: sent, .. }) => {
            program.is_none_or(|program| program == *sent) && on(wanted, *channel)
        }
        (Trigger::SongSelect(number), SendMessage::System { bytes, .. }) => {
            matches!(bytes[..], [0xF3, sent] if number.is_none_or(|number| u8::from(number) == sent))
        }
        (Trigger::Clock(clock), SendMessage::System { bytes, .. }) => {
            // MIDI 1.0 Detailed Specification 4.2.1 p. 30.
            let status = match clock {
                ClockCommand::Start => 0xFA,
                ClockCommand::Continue => 0xFB,
                ClockCommand::Stop => 0xFC,
            };
            bytes[..] == [status]
        }
        (Trigger::Transport(transport), SendMessage::System { bytes, .. }) => {
            let [_, _, _, _, wanted, _] = Transport::bytes(transport);
            matches!(bytes[..], [0xF0, 0x7F, _, 0x06, command, 0xF7] if command == wanted)
        }
        _ => false,
    }
}
