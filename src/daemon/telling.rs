//! What happens to ports and to the performance itself, in a sentence: the same on the terminal and on the stand.

use super::{Happened, Show};

/// The sentence for what happened; none where it says more than one, or nothing by itself.
#[must_use]
pub fn sentence(what: &Happened, show: &Show) -> Option<String> {
    let gear = &show.book.gear;
    let input = |number: &usize| gear.inputs.get(*number).map_or("?", |input| input.name.value.as_str());
    let output = |number: &usize| gear.outputs.get(*number).map_or("?", |output| output.name.value.as_str());
    Some(match what {
        Happened::InputGone(number) => {
            format!("{} is gone: its notes have ended, its pedals are up. Plug it in again.", input(number))
        }
        Happened::InputBack(number) => format!("{} is back.", input(number)),
        Happened::OutputGone(number) => format!("Nobody listens to {} any longer.", output(number)),
        Happened::OutputBack(number) => format!("{} is listened to, and has been set up.", output(number)),
        Happened::Silenced(number) => format!("{} was silenced: the last run was broken off.", output(number)),
        Happened::Rebuilt => {
            "The engine failed and was built anew: all notes have ended, the set goes on here. Please report this."
                .to_owned()
        }
        Happened::Overrun => "The system lost messages on their way here: all held notes were ended.".to_owned(),
        Happened::NotTaken(number) => format!("{} did not take a message: its listener is too slow.", output(number)),
        Happened::Noticed(_)
        | Happened::Connections(_)
        | Happened::Loaded
        | Happened::MapsRefused(_)
        | Happened::ChangesDropped(_)
        | Happened::Ended(_) => return None,
    })
}
