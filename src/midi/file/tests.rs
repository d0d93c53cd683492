//! Tests of reading and writing against the examples of the Standard MIDI Files 1.1 text (RP-001).

use proptest::prelude::*;

use super::*;

/// Bytes from hexadecimal digits; anything else between them is passed over.
fn hex(text: &str) -> Vec<u8> {
    let digits: Vec<u8> = text.chars().filter_map(|c| c.to_digit(16)).map(|digit| digit as u8).collect();
    digits.chunks(2).map(|pair| pair[0] * 16 + pair[1]).collect()
}

/// A file of format 1 (of format 0 where there is one track) with 96 ticks a quarter and these tracks.
fn file(tracks: &[Vec<u8>]) -> Vec<u8> {
    let mut bytes = hex("4D546864 00000006");
    bytes.extend([0, u8::from(tracks.len() != 1), 0, tracks.len() as u8, 0, 96]);
    for track in tracks {
        bytes.extend(b"MTrk");
        bytes.extend((track.len() as u32).to_be_bytes());
        bytes.extend(track);
    }
    bytes
}

/// Messages of a take with their ticks.
fn messages(take: &Take) -> Vec<(u64, Vec<u8>)> {
    let message = |event: &TakeEvent| match &event.kind {
        TakeKind::Message(bytes) => Some((event.tick, bytes.clone())),
        TakeKind::Marker(_) => None,
    };
    take.events.iter().filter_map(message).collect()
}

/// The format 0 example of RP-001, 81 bytes.
const FORMAT_0: &str = "4D546864 00000006 0000 0001 0060 4D54726B 0000003B
    00FF580404021808 00FF510307A120 00C005 00C12E 00C246 00923060 003C60 60914340 60904C20
    8140823040 003C40 00814340 00804C40 00FF2F00";

/// Its format 1 version, 118 bytes.
const FORMAT_1: &str = "4D546864 00000006 0001 0004 0060
    4D54726B 00000014 00FF580404021808 00FF510307A120 8300FF2F00
    4D54726B 00000010 00C005 8140904C20 81404C00 00FF2F00
    4D54726B 0000000F 00C12E 60914340 82204300 00FF2F00
    4D54726B 00000015 00C246 00923060 003C60 83003000 003C00 00FF2F00";

#[test]
fn format_0_example() {
    let take = read(&hex(FORMAT_0)).unwrap();
    assert_eq!(take.division, Division::quarter(96).unwrap());
    assert_eq!((take.end_tick, take.end), (384, 2_000_000));
    assert_eq!(
        take.tempo,
        [
            TempoEvent { tick: 0, kind: TempoKind::Meter([4, 2, 24, 8]) },
            TempoEvent { tick: 0, kind: TempoKind::Tempo(500_000) },
        ]
    );
    let expected: [(u64, &[u8]); 11] = [
        (0, &[0xC0, 0x05]),
        (0, &[0xC1, 0x2E]),
        (0, &[0xC2, 0x46]),
        (0, &[0x92, 0x30, 0x60]),
        (0, &[0x92, 0x3C, 0x60]),
        (96, &[0x91, 0x43, 0x40]),
        (192, &[0x90, 0x4C, 0x20]),
        (384, &[0x82, 0x30, 0x40]),
        (384, &[0x82, 0x3C, 0x40]),
        (384, &[0x81, 0x43, 0x40]),
        (384, &[0x80, 0x4C, 0x40]),
    ];
    assert_eq!(messages(&take), expected.map(|(tick, bytes)| (tick, bytes.to_vec())));
    assert_eq!(take.events[5].at, 500_000);
    // Written again, it is the same file, byte for byte.
    assert_eq!(write(take.division, &take.tempo, &messages(&take), take.end_tick), Ok(hex(FORMAT_0)));
}

#[test]
fn format_1_example_comes_track_by_track() {
    let take = read(&hex(FORMAT_1)).unwrap();
    assert_eq!((take.end_tick, take.end), (384, 2_000_000));
    let expected: [(u64, &[u8]); 11] = [
        (0, &[0xC0, 0x05]),
        (0, &[0xC1, 0x2E]),
        (0, &[0xC2, 0x46]),
        (0, &[0x92, 0x30, 0x60]),
        (0, &[0x92, 0x3C, 0x60]),
        (96, &[0x91, 0x43, 0x40]),
        (192, &[0x90, 0x4C, 0x20]),
        (384, &[0x90, 0x4C, 0x00]),
        (384, &[0x91, 0x43, 0x00]),
        (384, &[0x92, 0x30, 0x00]),
        (384, &[0x92, 0x3C, 0x00]),
    ];
    assert_eq!(messages(&take), expected.map(|(tick, bytes)| (tick, bytes.to_vec())));
}

#[test]
fn delta_times_of_the_specification() {
    // RP-001, table of variable-length quantities.
    for (number, bytes) in [
        (0, "00"),
        (0x40, "40"),
        (0x7F, "7F"),
        (0x80, "8100"),
        (0x2000, "C000"),
        (0x3FFF, "FF7F"),
        (0x4000, "818000"),
        (0x10_0000, "C08000"),
        (0x1F_FFFF, "FFFF7F"),
        (0x20_0000, "81808000"),
        (0x800_0000, "C0808000"),
        (0xFFF_FFFF, "FFFFFF7F"),
    ] {
        let bytes = file(&[hex(&format!("{bytes} FF0601 41 00 FF2F00"))]);
        let take = read(&bytes).unwrap();
        assert_eq!((take.events[0].tick, take.end_tick), (number, number));
        let mut writer = Writer::new(take.division);
        writer.marker(number, "A");
        assert_eq!(writer.finish(0), Ok(bytes));
    }
}

#[test]
fn a_rest_longer_than_any_delta_time_is_kept() {
    let division = Division::quarter(0x7FFF).unwrap();
    let bytes = write(division, &[], &[(700_000_000u64, [0xF8u8])], 1_500_000_000).unwrap();
    let take = read(&bytes).unwrap();
    assert_eq!((take.events[0].tick, take.end_tick), (700_000_000, 1_500_000_000));
}

#[test]
fn exclusive_in_packets_is_put_together() {
    // The example of packets in RP-001, from memory: F0 03 43 12 00, then after 200 ticks F7 06 43 12 00 43 12 00, then after 100 ticks F7 04 43 12 00 F7.
    let take = read(&file(&[hex("00 F003431200 8148 F706431200431200 64 F704431200F7 00FF2F00")])).unwrap();
    assert_eq!(messages(&take), [(300, hex("F0 431200 431200431200 431200 F7"))]);
    // Whole at once: F0 05 43 12 00 07 F7.
    let take = read(&file(&[hex("00 F00543120007F7 00FF2F00")])).unwrap();
    assert_eq!(messages(&take), [(0, hex("F043120007F7"))]);
    // Unfinished: ended by the note.
    let take = read(&file(&[hex("00 F003431200 00 903C40 00 F702 43F7 00FF2F00")])).unwrap();
    assert_eq!(messages(&take), [(0, hex("903C40"))]);
}

#[test]
fn escapes_carry_system_messages() {
    let take = read(&file(&[hex("00 F701F8 05 F703F20A00 05 F704F303F6FC 00FF2F00")])).unwrap();
    let expected: [(u64, &[u8]); 5] =
        [(0, &[0xF8]), (5, &[0xF2, 0x0A, 0x00]), (10, &[0xF3, 0x03]), (10, &[0xF6]), (10, &[0xFC])];
    assert_eq!(messages(&take), expected.map(|(tick, bytes)| (tick, bytes.to_vec())));
}

#[test]
fn running_status_crosses_delta_times() {
    let take = read(&file(&[hex("00 903C27 10 402B 10 4325 00FF2F00")])).unwrap();
    assert_eq!(messages(&take), [(0, hex("903C27")), (16, hex("90402B")), (32, hex("904325"))]);
}

#[test]
fn markers_stand_among_messages_in_file_order() {
    let first = hex("00 FF0606736F6E672032 00 903C40 00 FF0602C38C 00FF2F00");
    let second = hex("00 FF060141 00FF2F00");
    let take = read(&file(&[first, second])).unwrap();
    let kinds: Vec<TakeKind> = take.events.into_iter().map(|event| event.kind).collect();
    let marker = |text: &str| TakeKind::Marker(text.to_owned());
    assert_eq!(kinds, [marker("song 2"), TakeKind::Message(hex("903C40")), marker("Ì"), marker("A")]);
}

#[test]
fn a_tempo_in_any_track_counts_for_all() {
    let take = read(&file(&[hex("60 903C40 00FF2F00"), hex("30 FF51030F4240 00FF2F00")])).unwrap();
    // 48 ticks at 500,000 µs a quarter, then 48 at 1,000,000.
    assert_eq!((take.events[0].tick, take.events[0].at), (96, 750_000));
    assert_eq!(take.nearest_tick(750_000), 96);
    assert_eq!(take.micros(48), 250_000);
}

#[test]
fn longer_headers_and_unknown_chunks_are_passed_over() {
    let bytes = hex("4D546864 00000008 0000 0001 0060 AABB 58585858 00000002 4D54 4D54726B 00000004 00FF2F00 00");
    let take = read(&bytes).unwrap();
    assert_eq!((take.events.len(), take.end), (0, 0));
}

#[test]
fn what_is_no_take_says_so() {
    let whole = hex(FORMAT_1);
    assert_eq!(read(b""), Err(FileError::Empty));
    assert_eq!(read(b"RIFF0000RMID"), Err(FileError::NotMidi));
    assert_eq!(read(b"MTh"), Err(FileError::NotMidi));
    for length in 4..whole.len() {
        assert_eq!(read(&whole[..length]), Err(FileError::CutShort { length }));
    }
    assert_eq!(read(&hex("4D546864 00000004 0000 0001")), Err(FileError::CutShort { length: 12 }));
    assert_eq!(read(&hex("4D546864 00000006 0000 0000 0060")), Err(FileError::NoTracks));
    assert_eq!(read(&hex("4D546864 00000006 0002 0001 0060")), Err(FileError::Format2));
    assert_eq!(read(&hex("4D546864 00000006 0007 0001 0060")), Err(FileError::Format(7)));
    assert_eq!(read(&hex("4D546864 00000006 0000 0001 8000")), Err(FileError::Division(0x80, 0)));
    assert_eq!(read(&file(&[hex("00 FF5103000000 00FF2F00")])), Err(FileError::Tempo { track: 1 }));
    let forever = hex("FFFFFF7F FF060141 00FF5103FFFFFF FFFFFF7F FF060141 00 FF2F00");
    assert_eq!(read(&file(&[forever])), Err(FileError::TooLong));
}

#[test]
fn a_damaged_track_says_where() {
    let good = hex("00FF2F00");
    for bad in [
        // No end of track; data above 127; no status; a length beyond the track; a number without end; a
        // status that no file has.
        "00 903C40",
        "00 90C040 00FF2F00",
        "00 3C40 00FF2F00",
        "00 FF06FF41 00FF2F00",
        "8080808000 FF060141 00FF2F00",
        "00 FF068080808001 00FF2F00",
        "00 F808 00FF2F00",
        "",
    ] {
        let error = read(&file(&[good.clone(), hex(bad)])).unwrap_err();
        assert!(matches!(error, FileError::Damaged { track: 2, byte } if byte >= 34), "{bad}: {error:?}");
    }
    assert_eq!(
        read(&file(&[hex("00 903C40 05 90C040 00FF2F00")])).unwrap_err().to_string(),
        "track 1 of the MIDI file cannot be read from byte 26 of the file on: export it again"
    );
}

#[test]
fn a_header_that_lies_costs_nothing() {
    assert_eq!(read(&hex("4D546864 FFFFFFFF 0000 0001 0060")), Err(FileError::CutShort { length: 14 }));
    let bytes = hex("4D546864 00000006 0001 FFFF 0060 4D54726B FFFFFFFF 00FF2F00");
    assert_eq!(read(&bytes), Err(FileError::CutShort { length: bytes.len() }));
}

/// Any one whole message that a stream would give.
fn any_message() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        (0x80u8..0xF0, 0u8..128, 0u8..128).prop_map(|(status, first, second)| match status {
            0xC0..=0xDF => vec![status, first],
            _ => vec![status, first, second],
        }),
        proptest::collection::vec(0u8..128, 0..300).prop_map(|data| [vec![0xF0], data, vec![0xF7]].concat()),
        (0u8..128).prop_map(|song| vec![0xF3, song]),
        (0u8..128).prop_map(|quarter| vec![0xF1, quarter]),
        (0u8..128, 0u8..128).prop_map(|(low, high)| vec![0xF2, low, high]),
        prop_oneof![Just(0xF6u8), Just(0xF8), Just(0xFA), Just(0xFB), Just(0xFC), Just(0xFE), Just(0xFF)]
            .prop_map(|status| vec![status]),
    ]
}

fn any_division() -> impl Strategy<Value = Division> {
    prop_oneof![
        (1u16..0x8000).prop_map(|ticks| Division::quarter(ticks).unwrap()),
        (prop_oneof![Just(24u8), Just(25), Just(29), Just(30)], 1u8..=255)
            .prop_map(|(rate, ticks)| Division::frames(rate, ticks).unwrap()),
    ]
}

proptest! {
    #[test]
    fn what_is_written_reads_back(
        division in any_division(),
        tempo in proptest::collection::vec((0u64..3000, 1u32..0x100_0000, any::<Option<[u8; 4]>>()), 0..5),
        events in proptest::collection::vec((0u64..400_000, any_message()), 0..40),
        markers in proptest::collection::vec((0u64..400_000, "\\PC{0,12}"), 0..5),
        end in 0u64..500_000,
    ) {
        let mut tempo: Vec<TempoEvent> = tempo
            .into_iter()
            .map(|(tick, micros, meter)| {
                let kind = meter.map_or(TempoKind::Tempo(micros), TempoKind::Meter);
                TempoEvent { tick, kind }
            })
            .collect();
        tempo.sort_by_key(|event| event.tick);
        let mut expected: Vec<(u64, TakeKind)> = Vec::new();
        let mut writer = Writer::new(division);
        for event in &tempo {
            writer.tempo(*event);
        }
        for (tick, text) in &markers {
            writer.marker(*tick, text);
            expected.push((*tick, TakeKind::Marker(text.clone())));
        }
        for (tick, bytes) in &events {
            writer.message(*tick, bytes);
            expected.push((*tick, TakeKind::Message(bytes.clone())));
        }
        expected.sort_by_key(|(tick, _)| *tick);
        let last = expected.last().map_or(0, |(tick, _)| *tick).max(tempo.last().map_or(0, |event| event.tick));
        let result = read(&writer.finish(end).unwrap());
        prop_assume!(result != Err(FileError::TooLong));
        let take = result.unwrap();
        prop_assert_eq!(take.division, division);
        prop_assert_eq!(&take.tempo, &tempo);
        prop_assert_eq!(take.end_tick, end.max(last));
        let found: Vec<(u64, TakeKind)> = take.events.iter().map(|e| (e.tick, e.kind.clone())).collect();
        prop_assert_eq!(found, expected);
        for event in &take.events {
            prop_assert_eq!(event.at, take.micros(event.tick));
        }
    }

    #[test]
    fn random_bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        let _ = read(&bytes);
        let _ = read(&file(std::slice::from_ref(&bytes)));
        let _ = read(&[&b"MThd"[..], &bytes].concat());
    }

    #[test]
    fn a_file_with_some_bytes_changed_never_panics(changes in proptest::collection::vec((0usize..118, any::<u8>()), 1..6)) {
        let mut bytes = hex(FORMAT_1);
        for (place, byte) in changes {
            bytes[place] = byte;
        }
        let _ = read(&bytes);
    }
}

/// The example of RP-001 at half a second a quarter note: E4 sounds two quarters, C and C an octave below four, G three.
#[test]
fn how_long_each_note_sounds() {
    let take = read(&hex(FORMAT_0)).unwrap();
    let times = take.note_times();
    let sounding: Vec<(usize, u64)> = (0..128).map(|note| (note, times[note])).filter(|(_, time)| *time > 0).collect();
    assert_eq!(sounding, [(48, 2_000_000), (60, 2_000_000), (67, 1_500_000), (76, 1_000_000)]);
}

/// One that is struck twice and ended once, one that is never ended, and one of the percussion channel.
#[test]
fn what_is_not_ended_sounds_to_the_end_and_percussion_is_left_out() {
    let track = hex("00 903C40 00 993040 60 903C40 00 914040 60 803C40 60 FF2F00");
    let take = read(&file(&[track])).unwrap();
    let times = take.note_times();
    assert_eq!([times[48], times[60], times[64]], [0, 2_000_000, 1_000_000]);
}
