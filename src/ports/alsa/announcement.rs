//! What the sequencer tells about ports and connections.

use ::alsa::seq::{Addr, Connect, Event, EventType};

/// What an event tells, where it is no message.
pub(super) enum Announcement {
    Started(Addr),
    Ended(Addr),
    ClientEnded(i32),
    Connected(Connect),
    /// A connection has ended, whichever way; told to the port concerned.
    Disconnected(Connect),
    /// Somebody has taken a connection away; told to all.
    Cut(Connect),
    /// What we sent to ourselves, see [`super::stale`].
    Mark,
    /// Events were lost.
    Lost,
}

/// What an event tells, if anything; our port of this number listens to the announcements.
pub(super) fn announcement(event: &Event<'_>, announcements: i32) -> Option<Announcement> {
    let kind = event.get_type();
    if let (EventType::PortUnsubscribed, Some(between)) = (kind, event.get_data()) {
        // The kernel announces it only where somebody asked for it, not where the other end has died.
        let announced = event.get_dest().port == announcements;
        return Some(if announced { Announcement::Cut(between) } else { Announcement::Disconnected(between) });
    }
    if event.get_dest().port != announcements {
        return None;
    }
    Some(match (kind, event.get_data::<Addr>(), event.get_data::<Connect>()) {
        (EventType::Usr1, _, _) => Announcement::Mark,
        (EventType::PortStart, Some(port), _) => Announcement::Started(port),
        (EventType::PortExit, Some(port), _) => Announcement::Ended(port),
        (EventType::ClientExit, Some(port), _) => Announcement::ClientEnded(port.client),
        (EventType::PortSubscribed, _, Some(between)) => Announcement::Connected(between),
        _ => return None,
    })
}
