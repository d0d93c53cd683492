//! Tests of the stream against the vectors of the MIDI 1.0 Detailed Specification 4.2.1.

use proptest::prelude::*;

use super::*;

/// All messages that come out for these bytes.
fn messages(bytes: &[u8]) -> Vec<Vec<u8>> {
    let mut stream = Stream::new();
    bytes.iter().filter_map(|byte| stream.push(*byte).map(<[u8]>::to_vec)).collect()
}

#[test]
fn running_status_carries_over() {
    // P. A-1.
    assert_eq!(
        messages(&[0x90, 0x3C, 0x27, 0x40, 0x2B, 0x43, 0x25]),
        [[0x90, 0x3C, 0x27], [0x90, 0x40, 0x2B], [0x90, 0x43, 0x25]]
    );
    assert_eq!(
        messages(&[0x90, 0x3C, 0x27, 0x3C, 0x00, 0x3E, 0x29]),
        [[0x90, 0x3C, 0x27], [0x90, 0x3C, 0x00], [0x90, 0x3E, 0x29]]
    );
    // P. A-2.
    assert_eq!(messages(&[0xB0, 0x7C, 0x00, 0x01, 0x37]), [[0xB0, 0x7C, 0x00], [0xB0, 0x01, 0x37]]);
    // Messages of two bytes too.
    assert_eq!(messages(&[0xC3, 5, 6, 0xD3, 7, 8]), [[0xC3, 5], [0xC3, 6], [0xD3, 7], [0xD3, 8]]);
}

#[test]
fn real_time_comes_between_any_two_bytes() {
    // P. A-2: real-time messages leave the running status alone.
    assert_eq!(
        messages(&[0x90, 0x3C, 0xF8, 0x40, 0x3C, 0x00]),
        [vec![0xF8], vec![0x90, 0x3C, 0x40], vec![0x90, 0x3C, 0x00]]
    );
    let mut all = Vec::new();
    for byte in [0x90, 0x3C, 0x40, 0x3E, 0x41, 0xF0, 0x7E, 0x01, 0xF7] {
        all.extend([0xFE, byte, 0xFB]);
    }
    let out = messages(&all);
    let real_time: Vec<u8> = out.iter().filter(|m| m.len() == 1).map(|m| m[0]).collect();
    assert_eq!(real_time, [0xFE, 0xFB].repeat(9));
    let rest: Vec<Vec<u8>> = out.into_iter().filter(|m| m.len() > 1).collect();
    assert_eq!(rest, [vec![0x90, 0x3C, 0x40], vec![0x90, 0x3E, 0x41], vec![0xF0, 0x7E, 0x01, 0xF7]]);
}

#[test]
fn system_common_ends_running_status() {
    // P. A-2; also for the undefined F4 and F5.
    assert_eq!(messages(&[0x90, 0x3C, 0x40, 0xF1, 0x00, 0x3E, 0x40]), [vec![0x90, 0x3C, 0x40], vec![0xF1, 0x00]]);
    for status in [0xF4, 0xF5, 0xF7] {
        assert_eq!(messages(&[0x90, 0x3C, 0x40, status, 0x3E, 0x40]), [[0x90, 0x3C, 0x40]]);
    }
    assert_eq!(messages(&[0x90, 0x3C, 0x40, 0xF6, 0x3E, 0x40]), [vec![0x90, 0x3C, 0x40], vec![0xF6]]);
    assert_eq!(messages(&[0x90, 0x3C, 0x40, 0xF0, 0xF7, 0x3E, 0x40]), [vec![0x90, 0x3C, 0x40], vec![0xF0, 0xF7]]);
}

#[test]
fn undefined_real_time_is_nothing_at_all() {
    // P. A-2: F9 and FD leave the running status alone.
    assert_eq!(messages(&[0x90, 0x3C, 0xF9, 0x40, 0xFD, 0x3E, 0x41]), [[0x90, 0x3C, 0x40], [0x90, 0x3E, 0x41]]);
}

#[test]
fn system_common_messages_have_their_lengths() {
    // Table of status bytes; song position 10 is F2 0A 00 (p. 27).
    assert_eq!(
        messages(&[0xF2, 0x0A, 0x00, 0xF3, 0x03, 0xF1, 0x24, 0xF6, 0xFF]),
        [vec![0xF2, 0x0A, 0x00], vec![0xF3, 0x03], vec![0xF1, 0x24], vec![0xF6], vec![0xFF]]
    );
}

#[test]
fn data_without_a_status_means_nothing() {
    assert_eq!(messages(&[0x3C, 0x40, 0x00]), Vec::<Vec<u8>>::new());
    // A system common message leaves nothing to run on.
    assert_eq!(messages(&[0xF3, 0x03, 0x04]), [[0xF3, 0x03]]);
}

#[test]
fn a_new_status_drops_what_was_begun() {
    assert_eq!(messages(&[0x90, 0x3C, 0x80, 0x3C, 0x40]), [[0x80, 0x3C, 0x40]]);
    assert_eq!(messages(&[0xF2, 0x0A, 0xC0, 0x05]), [[0xC0, 0x05]]);
}

#[test]
fn exclusive_ended_by_another_status_is_dropped_and_counted() {
    let mut stream = Stream::new();
    let mut out = Vec::new();
    for byte in [0xF0, 0x7E, 0x01, 0x90, 0x3C, 0x40, 0xF0, 0x01, 0xF0, 0x02, 0xF7] {
        out.extend(stream.push(byte).map(<[u8]>::to_vec));
    }
    assert_eq!(out, [[0x90, 0x3C, 0x40], [0xF0, 0x02, 0xF7]]);
    assert_eq!(stream.dropped(), 2);
}

#[test]
fn exclusive_up_to_the_limit_comes_through_and_longer_is_counted() {
    let mut stream = Stream::new();
    for (data, whole) in [(LONGEST_EXCLUSIVE - 2, true), (LONGEST_EXCLUSIVE - 1, false), (LONGEST_EXCLUSIVE * 3, false)]
    {
        assert!(stream.push(0xF0).is_none());
        for byte in 0..data {
            assert!(stream.push((byte % 128) as u8).is_none());
        }
        let out = stream.push(0xF7);
        assert_eq!(out.map(<[u8]>::len), whole.then_some(LONGEST_EXCLUSIVE));
        if let Some(out) = out {
            assert!(crate::midi::decode(out).is_ok());
        }
    }
    assert_eq!(stream.dropped(), 2);
    assert_eq!(stream.push(0xF6), Some(&[0xF6][..]), "it goes on as before");
}

#[test]
fn reset_begins_again() {
    let mut stream = Stream::new();
    for byte in [0x90, 0x3C] {
        assert!(stream.push(byte).is_none());
    }
    stream.reset();
    assert!(stream.push(0x40).is_none());
    assert!(stream.push(0x40).is_none());
    stream.push(0xF0);
    stream.reset();
    assert_eq!(stream.dropped(), 1);
}

proptest! {
    #[test]
    fn what_comes_out_is_always_one_whole_message(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        for message in messages(&bytes) {
            prop_assert!(crate::midi::decode(&message).is_ok(), "{message:02X?}");
        }
    }

    #[test]
    fn messages_back_to_back_come_out_as_they_went_in(
        sent in proptest::collection::vec((0x80u8..0xF0, 0u8..128, 0u8..128, any::<bool>()), 0..60)
    ) {
        let mut bytes = Vec::new();
        let mut expected = Vec::new();
        let mut running = 0;
        for (status, first, second, leave_out) in sent {
            let data = if matches!(status, 0xC0..=0xDF) { vec![first] } else { vec![first, second] };
            if status != running || !leave_out {
                bytes.push(status);
            }
            running = status;
            bytes.extend(&data);
            expected.push([vec![status], data].concat());
        }
        prop_assert_eq!(messages(&bytes), expected);
    }
}
