//! What the sequencer tells about ports and connections.

use ::alsa::seq::{Addr, Connect, Event, EventType};

/// What an event means apart from messages.
pub(super) enum Notice {
    Started(Addr),
    Ended(Addr),
    ClientEnded(i32),
    Connected(Connect),
    /// A connection has ended, whichever way; told to the port concerned.
    Disconnected(Connect),
    /// Somebody has taken a connection away; told to all.
    Parted(Connect),
    Lost,
    /// What we sent to ourselves, see [`super::fresh`].
    Mark,
    None,
}

/// What an event tells; our port of this number listens to the announcements.
pub(super) fn notice(event: &Event<'_>, announcements: i32) -> Notice {
    let kind = event.get_type();
    if let (EventType::PortUnsubscribed, Some(between)) = (kind, event.get_data()) {
        // The kernel announces it only where somebody asked for it, not where the other end has died.
        let announced = event.get_dest().port == announcements;
        return if announced { Notice::Parted(between) } else { Notice::Disconnected(between) };
    }
    if event.get_dest().port != announcements {
        return Notice::None;
    }
    match (kind, event.get_data::<Addr>(), event.get_data::<Connect>()) {
        (EventType::Usr1, _, _) => Notice::Mark,
        (EventType::PortStart, Some(port), _) => Notice::Started(port),
        (EventType::PortExit, Some(port), _) => Notice::Ended(port),
        (EventType::ClientExit, Some(port), _) => Notice::ClientEnded(port.client),
        (EventType::PortSubscribed, _, Some(between)) => Notice::Connected(between),
        _ => Notice::None,
    }
}
