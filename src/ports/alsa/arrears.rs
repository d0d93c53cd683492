//! Ends of notes that a listener did not take because it does not keep up: they are owed to it, and sent when it reads
//! again. All else that it does not take is lost, and what does not end cannot be heard for ever.

/// What is owed to whom; `A` is the system's address of a port.
#[derive(Debug)]
pub(super) struct Arrears<A> {
    owed: Vec<Owed<A>>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Owed<A> {
    output: usize,
    peer: A,
    bytes: [u8; 3],
}

impl<A: Copy + PartialEq> Arrears<A> {
    pub(super) fn new() -> Self {
        Arrears { owed: Vec::new() }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.owed.is_empty()
    }

    /// A listener to an output did not take the end of something.
    pub(super) fn owe(&mut self, output: usize, peer: A, bytes: [u8; 3]) {
        self.owed.retain(|owed| !(owed.output == output && owed.peer == peer && concern_one(&owed.bytes, &bytes)));
        self.owed.push(Owed { output, peer, bytes });
    }

    /// Something is sent: where it begins what is owed the end of, that end is no longer owed. It would come too late,
    /// and what begins now gets an end of its own.
    pub(super) fn forget(&mut self, output: usize, message: &[u8]) {
        if !self.owed.is_empty() {
            self.owed.retain(|owed| !(owed.output == output && concern_one(&owed.bytes, message)));
        }
    }

    /// Tries to pay; `send` says whether a listener took it. Who takes nothing is not asked further.
    pub(super) fn pay(&mut self, mut send: impl FnMut(usize, A, &[u8; 3]) -> bool) {
        let mut full: Vec<A> = Vec::new();
        self.owed.retain(|owed| {
            if full.contains(&owed.peer) {
                return true;
            }
            let paid = send(owed.output, owed.peer, &owed.bytes);
            if !paid {
                full.push(owed.peer);
            }
            !paid
        });
    }
}

/// Whether two messages concern one note, or one controller.
fn concern_one(left: &[u8], right: &[u8]) -> bool {
    let kind = |status: u8| if status & 0xF0 == 0x80 { status | 0x10 } else { status };
    match (left, right) {
        ([left, what, ..], [right, this, ..]) => kind(*left) == kind(*right) && what == this,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn paid(arrears: &mut Arrears<u8>, full: u8) -> Vec<(u8, [u8; 3])> {
        let mut paid = Vec::new();
        arrears.pay(|_, peer, bytes| {
            let takes = peer != full;
            paid.extend(takes.then_some((peer, *bytes)));
            takes
        });
        paid
    }

    #[test]
    fn who_reads_again_is_paid_and_who_does_not_holds_nobody_up() {
        let mut arrears = Arrears::new();
        let (first, second) = ([0x80, 60, 64], [0x80, 61, 64]);
        arrears.owe(0, 20, first);
        arrears.owe(0, 21, first);
        arrears.owe(0, 20, second);
        arrears.owe(0, 21, second);
        assert_eq!(paid(&mut arrears, 20), [(21, first), (21, second)]);
        assert_eq!(paid(&mut arrears, 0), [(20, first), (20, second)]);
        assert!(arrears.is_empty());
    }

    #[test]
    fn a_note_that_begins_again_gets_its_own_end() {
        let mut arrears = Arrears::new();
        arrears.owe(0, 20, [0x80, 60, 64]);
        arrears.owe(0, 20, [0x80, 60, 0]);
        arrears.owe(0, 20, [0xB0, 64, 0]);
        arrears.forget(1, &[0x90, 60, 1]);
        arrears.forget(0, &[0x91, 60, 1]);
        arrears.forget(0, &[0x90, 60, 1]);
        assert_eq!(paid(&mut arrears, 0), [(20, [0xB0, 64, 0])]);
    }
}
