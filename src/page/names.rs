//! What each page is called in this performance: a number and its address. A page that comes back keeps its number.

use std::fmt;
use std::net::IpAddr;
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::wording;

/// The most pages whose numbers are remembered.
const MOST: usize = 256;

/// What a page is called.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PageName {
    number: u64,
    at: IpAddr,
}

impl fmt::Display for PageName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&wording::page::name(self.number, &self.at))
    }
}

/// The names that were given.
#[derive(Debug, Default)]
pub(super) struct PageNames(Mutex<NamedPages>);

#[derive(Debug, Default)]
struct NamedPages {
    last: u64,
    /// Who was named, the latest last.
    pages: Vec<NamedPage>,
}

#[derive(Debug)]
struct NamedPage {
    name: PageName,
    /// The hash of the token of a device that was let in.
    device: Option<String>,
    is_here: bool,
}

impl PageNames {
    fn named(&self) -> MutexGuard<'_, NamedPages> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A name for a page that comes from `at`: the one that it had, if it was here before and has gone. It is known by the
    /// hash of its device's token, without one by its address.
    pub fn take(&self, at: IpAddr, device: Option<&str>) -> PageName {
        let mut named = self.named();
        let known = |page: &NamedPage| page.device.is_some() && page.device.as_deref() == device;
        let alike = |page: &NamedPage| page.device.is_none() && page.name.at == at;
        let is_away =
            |is_it: &dyn Fn(&NamedPage) -> bool| named.pages.iter().position(|page| !page.is_here && is_it(page));
        let mut page = match is_away(&known).or_else(|| is_away(&alike)) {
            Some(place) => named.pages.remove(place),
            None => named.new_page(at),
        };
        page.is_here = true;
        page.name.at = at;
        let name = page.name;
        named.pages.push(page);
        name
    }

    /// That page is a device that was let in.
    pub fn know(&self, name: PageName, device: String) {
        if let Some(page) = self.named().find(name) {
            page.device = Some(device);
        }
    }

    /// That page has gone.
    pub fn leave(&self, name: PageName) {
        if let Some(page) = self.named().find(name) {
            page.is_here = false;
        }
    }
}

impl NamedPages {
    fn find(&mut self, name: PageName) -> Option<&mut NamedPage> {
        self.pages.iter_mut().find(|page| page.name.number == name.number)
    }

    /// A new one; of those that have gone, strangers are forgotten first, then who was here longest ago.
    fn new_page(&mut self, at: IpAddr) -> NamedPage {
        if self.pages.len() >= MOST {
            let away = self.pages.iter().enumerate().filter(|(_, page)| !page.is_here);
            let forgotten = away.min_by_key(|(place, page)| (page.device.is_some(), *place)).map(|(place, _)| place);
            forgotten.map(|place| self.pages.remove(place));
        }
        self.last += 1;
        NamedPage { name: PageName { number: self.last, at }, device: None, is_here: false }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(last: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, last])
    }

    #[test]
    fn who_comes_back_keeps_its_number() {
        let names = PageNames::default();
        let (tablet, other) = (names.take(at(7), None), names.take(at(7), None));
        assert_eq!((tablet.to_string().as_str(), other.number), ("page 1 at 192.0.2.7", 2));
        names.know(tablet, "token".to_owned());
        names.leave(tablet);
        names.leave(other);
        assert_eq!(names.take(at(7), None).number, 2, "without a token by its address");
        let moved = names.take(at(9), Some("token"));
        assert_eq!(moved.to_string(), "page 1 at 192.0.2.9", "with one wherever it is");
        assert_eq!(names.take(at(9), Some("token")).number, 3, "two at the same time have two names");
    }

    #[test]
    fn a_crowd_of_strangers_takes_no_known_page_its_number() {
        let names = PageNames::default();
        let (tablet, here) = (names.take(at(1), None), names.take(at(2), None));
        names.know(tablet, "token".to_owned());
        names.leave(tablet);
        for number in 0..100_000_u32 {
            let stranger = names.take(IpAddr::from((number + 1_000).to_be_bytes()), None);
            names.leave(stranger);
        }
        assert_eq!(names.named().pages.len(), MOST);
        assert_eq!(names.take(at(1), Some("token")).number, 1);
        names.leave(here);
        assert_eq!(names.take(at(2), None).number, 2);
    }
}
