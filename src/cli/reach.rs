//! How one handspan reaches another: which run, and the socket of this one.

use std::path::PathBuf;
use std::sync::Arc;

use super::console::Failure;
use super::log::Log;
use super::maps;
use crate::daemon::Remote;
use crate::daemon::control::{
    self, Answer, Ask, AskError, ControlSocket, NameLock, NameLockError, RequestHandler, USUAL_NAME,
};
use crate::daemon::observer::Observer;
use crate::daemon::requests::TRYOUT_NAME;
use crate::page::Open;
use crate::wording::performance::{OTHERS_TRYOUT, unreachable};

/// Takes this performance's name; where that cannot be for want of a folder, the music is worth more than its socket,
/// and `tell` says so.
///
/// # Errors
/// Another performance has the name, or it is none.
pub(super) fn name_lock(name: Option<&str>, mut tell: impl FnMut(String)) -> Result<Option<NameLock>, Failure> {
    let name = name.unwrap_or(USUAL_NAME);
    let folder = match control::folder() {
        Ok(folder) => folder,
        Err(error) if control::is_name(name) => {
            tell(unreachable(&error));
            return Ok(None);
        }
        Err(_) => return Err(Failure::Wrong(format!("{}.", NameLockError::NoName(name.to_owned())))),
    };
    match NameLock::take(&folder, name) {
        Ok(name_lock) => Ok(Some(name_lock)),
        Err(NameLockError::Folder(error)) => {
            tell(unreachable(&error));
            Ok(None)
        }
        Err(error @ NameLockError::NoName(_)) => Err(Failure::Wrong(format!("{error}."))),
        Err(error @ NameLockError::Taken(_)) => Err(Failure::Failed(format!("{error}."))),
    }
}

/// Takes the name of a tryout. Where another one has it, that one is reached by it, and this one by its page alone.
pub(super) fn tryout(opening: &mut Vec<String>) -> Option<NameLock> {
    name_lock(Some(TRYOUT_NAME), |words| opening.push(words)).unwrap_or_else(|_| {
        opening.push(OTHERS_TRYOUT.to_owned());
        None
    })
}

/// Opens the control socket of a performance, at which its page is looked after too.
pub(super) fn open(
    name_lock: NameLock,
    (observer, remote): (&Arc<Observer>, &Remote),
    page: Option<&Open>,
    log: Option<&Log>,
    opening: &mut Vec<String>,
) -> Option<ControlSocket> {
    let log = log.cloned();
    let asked = move |words: &str| log.iter().for_each(|log| log.words(words));
    let mut handler = RequestHandler::new(remote.clone(), Arc::clone(observer), maps::read, asked);
    if let Some(page) = page {
        handler = handler.with_page(page.requests());
    }
    let opened = control::open(name_lock, handler);
    opened.inspect_err(|error| opening.push(unreachable(error))).ok()
}

/// The performance that is meant: the one of this name, or the only one.
pub(super) enum Meant {
    /// One, and the folder of its socket.
    One(PathBuf, String),
    /// Several run, and none was named.
    Several(PathBuf, Vec<String>),
}

/// Finds the performance that is meant.
///
/// # Errors
/// None runs.
pub(super) fn meant(name: Option<&str>) -> Result<Meant, Failure> {
    if let Some(name) = name.filter(|name| !control::is_name(name)) {
        return Err(Failure::Wrong(format!("{}.", NameLockError::NoName(name.to_owned()))));
    }
    let folder = control::folder().map_err(|error| Failure::Failed(format!("{error}.")))?;
    let running = control::running(&folder).map_err(|error| Failure::Failed(format!("{error}.")))?;
    let mut names: Vec<String> = running.into_iter().map(|running| running.name).collect();
    if name.is_none() && names.len() > 1 {
        // Who tries something out beside a performance names that.
        names.retain(|name| name != TRYOUT_NAME);
    }
    match name {
        Some(name) if names.iter().any(|known| known == name) => Ok(Meant::One(folder, name.to_owned())),
        Some(name) => Err(Failure::Failed(match names.as_slice() {
            [] => format!("No handspan runs, named \"{name}\" or otherwise: start it with `handspan play`."),
            _ => format!("No handspan named \"{name}\" runs; there is {}.", listed(&names)),
        })),
        None => match (names.pop(), names.is_empty()) {
            (None, _) => Err(Failure::Failed("No handspan runs: start one with `handspan play`.".to_owned())),
            (Some(only), true) => Ok(Meant::One(folder, only)),
            (Some(last), false) => {
                names.push(last);
                Ok(Meant::Several(folder, names))
            }
        },
    }
}

/// Asks one performance.
///
/// # Errors
/// It has ended meanwhile, or does not answer.
pub(super) fn ask(folder: &std::path::Path, name: &str, ask: Ask) -> Result<Answer, Failure> {
    control::ask(folder, name, ask).map_err(|error| match error {
        AskError::TooLong => Failure::Wrong(format!("{error}.")),
        error => Failure::Failed(format!("{error}.")),
    })
}

/// That several run, and what to do.
pub(super) fn say_which(names: &[String]) -> Failure {
    Failure::Wrong(format!("Several run: {}. Say which with --name.", listed(names)))
}

fn listed(names: &[String]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("\"{name}\"")).collect();
    quoted.join(", ")
}
