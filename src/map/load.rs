//! Loads a set with everything it names, and finds every fault of every file in one go.

use std::collections::HashSet;
use std::io;
use std::ops::Range;
use std::path::{Component, Path, PathBuf, is_separator};

use toml::de::DeTable;

use super::diagnostic::{Diagnostic, FaultKind, Level, did_you_mean, quoted};
use super::draft::Draft;
use super::names::Names;
use super::nearest::nearest;
use super::reader::{Faults, Fields, Lost, MapFile};
use super::rewritten::{Layers, Rewritten};
use super::{Book, Cue, Gear, MapKind, Set, Song, Source, Spot, Stand, cue, gear, mend, numbers, set, song, syntax};

/// What came of loading a set.
#[derive(Debug, Clone)]
pub struct Loaded {
    /// The set with everything it names; there is one if and only if no diagnostic is an error.
    pub book: Option<Book>,
    /// All files that were read: the set first, then the gear, then the songs.
    pub sources: Vec<Source>,
    /// What is wrong, file by file and from top to bottom.
    pub diagnostics: Vec<Diagnostic>,
}

impl Loaded {
    /// How many of the diagnostics are errors.
    #[must_use]
    pub fn errors(&self) -> usize {
        self.diagnostics.iter().filter(|diagnostic| diagnostic.level == Level::Error).count()
    }
}

/// Zones, sections, cues and what is done on entering of all songs are numbered with sixteen bits each.
const MOST: usize = u16::MAX as usize;
/// What is on is told in sets of a fixed size: so many zones of a song,
const MOST_ZONES: usize = 256;
/// and so many cues with `off` in a set.
const MOST_SWITCHES: usize = 1024;

fn too_many(gear: &Gear, songs: &[Song]) -> Option<Diagnostic> {
    let mut total = [0, 0, 0, gear.cues.len()];
    let with_off = |cues: &[Cue]| cues.iter().filter(|cue| cue.off.is_some()).count();
    let mut switches = with_off(&gear.cues);
    for song in songs {
        if song.zones.len() > MOST_ZONES {
            let title = format!("a song has at most {MOST_ZONES} zones, this one has {}", song.zones.len());
            return Some(Diagnostic::error(FaultKind::Finding, song.title.spot, title));
        }
        switches += with_off(&song.cues);
        if switches > MOST_SWITCHES {
            let title = format!("the gear and the songs up to this one have more than {MOST_SWITCHES} cues with off");
            let help = "split the set into several: one for each part of the evening";
            return Some(Diagnostic::error(FaultKind::Finding, song.title.spot, title).help(help));
        }
        for (total, more) in
            total.iter_mut().zip([song.zones.len(), song.deeds().count(), song.sections.len(), song.cues.len()])
        {
            *total += more;
        }
        if total.iter().any(|total| *total > MOST) {
            let title = format!(
                "the songs up to this one have more than {MOST} zones, sections, cues or things done on entering together"
            );
            let help = "split the set into several: one for each part of the evening";
            return Some(Diagnostic::error(FaultKind::Finding, song.title.spot, title).help(help));
        }
    }
    None
}

/// Loads a set. Files that it names are looked for beside it: their paths are joined to the folder of
/// `set_path` and handed to `read`, each file once. Nothing else is touched.
pub fn load(set_path: &str, read: &mut dyn FnMut(&str) -> io::Result<Vec<u8>>) -> Loaded {
    let mut desk = Desk { read, sources: Vec::new(), faults: Faults::default(), broken: Faults::default() };
    let read = desk.set(set_path);
    let Desk { sources, faults, broken, .. } = desk;
    let mut diagnostics = broken.into_inner();
    // What a broken line seems to say is not worth a second report.
    let lines = LineStarts::of(&sources);
    let broken: HashSet<_> = diagnostics.iter().filter_map(|fault| lines.line(fault.spot?)).collect();
    let is_broken =
        |fault: &Diagnostic| fault.spot.and_then(|spot| lines.line(spot)).is_some_and(|at| broken.contains(&at));
    let faults = faults.into_inner().into_iter().filter(|fault| !is_broken(fault));
    diagnostics.extend(faults);
    diagnostics.sort_by_key(|fault| fault.spot.map(|spot| (spot.file, spot.start)));
    diagnostics.extend(read.as_ref().and_then(|(gear, songs, _)| too_many(gear, songs)));
    let wrong = diagnostics.iter().any(|fault| fault.level == Level::Error);
    let book = read.filter(|_| !wrong).map(|(gear, songs, set)| Book { sources: sources.clone(), gear, songs, set });
    Loaded { book, sources, diagnostics }
}

/// Where the lines of all files begin: with very many faults nobody may count from the top for each.
struct LineStarts(Vec<Vec<usize>>);

impl LineStarts {
    fn of(sources: &[Source]) -> LineStarts {
        let ends = |source: &Source| source.text.match_indices('\n').map(|(at, _)| at + 1).collect();
        LineStarts(sources.iter().map(ends).collect())
    }

    /// The file and line of a spot, counted from 0.
    fn line(&self, spot: Spot) -> Option<(usize, usize)> {
        let starts = self.0.get(spot.file)?;
        Some((spot.file, starts.partition_point(|start| *start <= spot.start)))
    }
}

/// Why a file cannot be read that is not there: with the maps that are in its folder, so that the one that was meant can
/// be named.
#[derive(Debug, thiserror::Error)]
#[error("there is no such file")]
pub struct Beside(pub Vec<String>);

/// What is on the table while a set is loaded.
struct Desk<'r> {
    read: &'r mut dyn FnMut(&str) -> io::Result<Vec<u8>>,
    sources: Vec<Source>,
    faults: Faults,
    /// Syntax errors.
    broken: Faults,
}

impl Desk<'_> {
    fn report(&self, fault: Diagnostic) {
        self.faults.borrow_mut().push(fault);
    }

    fn set(&mut self, path: &str) -> Option<(Gear, Vec<Song>, Set)> {
        let (file, text) = self.open(path, None)?;
        let read = self.put_right(file, &text);
        let table = self.parse(&read);
        if let Some(other) = MapKind::Set.mistaken(&table) {
            let title = format!("{} looks like {}, not a set", quoted(path), other.called());
            let spot = Spot { file, start: 0, end: 0 };
            self.report(
                Diagnostic::error(FaultKind::Unreadable, spot, title).help("name the file that lists tonight's songs"),
            );
            return None;
        }
        let set_faults = Faults::default();
        let map_file = map_file(&read, &text, MapKind::Set, &set_faults);
        let opened = set::files(Fields::new(&map_file, "the set", whole(file), &table));
        let home = Home { own: path, gear: opened.gear.as_ref().map(|named| path_beside(path, &named.value)) };
        let gear = opened.gear.as_ref().and_then(|named| self.gear(&home, named));
        let missing = (
            Gear {
                middle_c: 4,
                gather: 0,
                early: 0,
                reconnect: true,
                inputs: vec![],
                outputs: vec![],
                sounds: vec![],
                curves: vec![],
                cues: vec![],
                stand: Stand::default(),
            },
            Names::none(false),
        );
        let (gear, names) = gear.unwrap_or(missing);
        let mut songs: Vec<Draft> = Vec::new();
        let mut met: Vec<(PathBuf, Option<usize>)> = Vec::new();
        let mut index = Vec::new();
        for named in &opened.songs {
            let Some(named) = named else {
                index.push(None);
                continue;
            };
            let identity = plain(path_beside(path, &named.value));
            let known = met.iter().find(|(path, _)| *path == identity).map(|(_, index)| *index);
            index.push(known.unwrap_or_else(|| {
                let draft = self.song(&home, named, &gear, &names);
                let place = draft.is_some().then_some(songs.len());
                songs.extend(draft);
                met.push((identity, place));
                place
            }));
        }
        let whole = opened.songs.iter().zip(&index).all(|(named, index)| named.is_none() || index.is_some());
        let set = set::read(opened, &index, &songs, &names);
        let aims = cue::in_the_set(&gear.cues, &songs, &set, whole && !map_file.may_have("map"));
        self.faults.borrow_mut().extend(numbers::faults(&songs).into_iter().chain(aims));
        self.faults.borrow_mut().append(&mut set_faults.take());
        Some((gear, songs.into_iter().map(|draft| draft.song).collect(), set))
    }

    fn gear(&mut self, home: &Home<'_>, named: &set::NamedFile) -> Option<(Gear, Names)> {
        let (file, text) = self.open_named(home, named, MapKind::Gear)?;
        let read = self.put_right(file, &text);
        let table = self.parse(&read);
        if self.is_other(MapKind::Gear, &table, named) {
            return None;
        }
        let map_file = map_file(&read, &text, MapKind::Gear, &self.faults);
        Some(gear::read(Fields::new(&map_file, "the gear file", whole(file), &table)))
    }

    fn song(&mut self, home: &Home<'_>, named: &set::NamedFile, gear: &Gear, names: &Names) -> Option<Draft> {
        let (file, text) = self.open_named(home, named, MapKind::Song)?;
        let read = self.put_right(file, &text);
        let table = self.parse(&read);
        if self.is_other(MapKind::Song, &table, named) {
            return None;
        }
        let map_file = map_file(&read, &text, MapKind::Song, &self.faults);
        Some(song::read(Fields::new(&map_file, "the song", whole(file), &table), gear, names))
    }

    fn is_other(&self, wanted: MapKind, table: &DeTable<'_>, named: &set::NamedFile) -> bool {
        let other = wanted.mistaken(table);
        if let Some(other) = other {
            self.report(mistaken(named, wanted, other));
        }
        other.is_some()
    }

    /// Opens a file that the set names, unless that leads back to a file that is open already.
    fn open_named(&mut self, home: &Home<'_>, named: &set::NamedFile, wanted: MapKind) -> Option<(usize, String)> {
        let path = path_beside(home.own, &named.value);
        if plain(&path) == plain(home.own) {
            let title = format!("{} leads back to the set itself", quoted(&named.value));
            let fault = Diagnostic::error(FaultKind::Unreadable, named.spot, title);
            self.report(fault.help(wanted.asked_for()));
            return None;
        }
        if wanted == MapKind::Song && home.gear.as_ref().is_some_and(|gear| plain(gear) == plain(&path)) {
            self.report(mistaken(named, wanted, MapKind::Gear));
            return None;
        }
        self.open(&path, Some(named))
    }

    /// Reads a file and lays it among the sources.
    fn open(&mut self, path: &str, named: Option<&set::NamedFile>) -> Option<(usize, String)> {
        let bytes = match (self.read)(path) {
            Ok(bytes) => bytes,
            Err(error) => {
                let title = format!("{} cannot be read: {}", quoted(path), reason(&error));
                let fault = Diagnostic::error(FaultKind::Unreadable, named.map(|named| named.spot), title);
                self.report(match named {
                    Some(named) => fault.help(instead(&named.value, &error)),
                    None => fault.help("name the file that lists tonight's songs"),
                });
                return None;
            }
        };
        if let Some((what, help)) = no_text(&bytes) {
            let title = format!("{} is {what}, not plain text", quoted(path));
            self.report(Diagnostic::error(FaultKind::Unreadable, named.map(|named| named.spot), title).help(help));
            return None;
        }
        let file = self.sources.len();
        let readable = std::str::from_utf8(&bytes).map_err(|error| error.valid_up_to());
        let text = String::from_utf8_lossy(&bytes).into_owned();
        self.sources.push(Source { path: path.to_owned(), text: text.clone() });
        if let Err(start) = readable {
            let spot = Spot { file, start, end: start + char::REPLACEMENT_CHARACTER.len_utf8() };
            let fault = Diagnostic::error(FaultKind::Unreadable, spot, format!("{} is not UTF-8 text", quoted(path)));
            self.report(fault.help("save it again as plain text, with the encoding UTF-8"));
            return None;
        }
        Some((file, text))
    }

    /// A file's text as it is meant. What was put right is reported, and so are the syntax errors that are left, the first
    /// of each line.
    fn put_right(&self, file: usize, text: &str) -> Readable {
        /// So many lists may be left open.
        const MOST_UNCLOSED: usize = 40;
        let mut read = Readable { file, layers: Layers::of(text), lost: Lost::default() };
        for unclosed in 0..=MOST_UNCLOSED {
            let (mended, slips) = mend::mended(read.text(), file);
            self.faults.borrow_mut().extend(slips.into_iter().map(|slip| read.in_the_file(slip)));
            read.layers.0.push(mended);
            let errors = errors(read.text());
            let mut ends = errors.iter().filter_map(|(span, message)| {
                let end = syntax::unclosed_before(read.text(), span.start, message)?;
                Some((end, syntax::brackets(read.text(), end))).filter(|(_, brackets)| !brackets.is_empty())
            });
            let Some((end, brackets)) = ends.next().filter(|_| unclosed < MOST_UNCLOSED) else {
                self.report_syntax(&mut read, &errors, text);
                break;
            };
            let spot = read.in_the_file(syntax::unclosed(Spot { file, start: end, end }));
            self.report(spot);
            let closed = Rewritten::with(read.text(), end, &brackets);
            read.layers.0.push(closed);
        }
        read
    }

    /// Reports syntax errors, the first of each line, and keeps what they may have taken along.
    fn report_syntax(&self, read: &mut Readable, errors: &[(Range<usize>, String)], text: &str) {
        let mut lines = Vec::new();
        for (span, message) in errors {
            let line = line_of(read.text(), span.start);
            if lines.last() == Some(&line) {
                continue;
            }
            lines.push(line);
            let lost = lost_in(read.text(), span.start);
            let spot = Spot { file: read.file, start: read.before(span.start), end: read.before(span.end) };
            self.broken.borrow_mut().push(syntax::fault(message, text, spot));
            match lost {
                Some(name) => read.lost.fields.push(name),
                None => read.lost.headers = true,
            }
        }
    }

    /// The table of a text that was put right; what could not be read is left out of it.
    fn parse<'t>(&self, read: &'t Readable) -> DeTable<'t> {
        DeTable::parse_recoverable(read.text()).0.into_inner()
    }
}

/// The set's own path, and the gear's.
struct Home<'p> {
    own: &'p str,
    gear: Option<String>,
}

/// A file's text as it is read: as it stands, then put right layer by layer.
struct Readable {
    file: usize,
    layers: Layers,
    lost: Lost,
}

impl Readable {
    fn text(&self) -> &str {
        self.layers.text()
    }

    fn before(&self, at: usize) -> usize {
        self.layers.before(at)
    }

    /// A fault of this text as one of the file.
    fn in_the_file(&self, fault: Diagnostic) -> Diagnostic {
        let spot = fault.spot.map(|spot| Spot { start: self.before(spot.start), end: self.before(spot.end), ..spot });
        Diagnostic { spot, ..fault }
    }
}

/// The syntax errors of a text, from top to bottom.
fn errors(text: &str) -> Vec<(Range<usize>, String)> {
    let (_, errors) = DeTable::parse_recoverable(text);
    let one = |error: &toml::de::Error| (error.span().unwrap_or(text.len()..text.len()), error.message().to_owned());
    let mut errors: Vec<_> = errors.iter().map(one).collect();
    errors.sort_by_key(|(span, _)| span.start);
    errors
}

/// The field of a line that could not be read; none where it may be a header, or anything.
fn lost_in(text: &str, at: usize) -> Option<String> {
    let start = text.get(..at)?.rfind('\n').map_or(0, |end| end + 1);
    let line = text.get(start..)?.lines().next()?.trim_start();
    let name: String = line.chars().take_while(|letter| letter.is_ascii_alphanumeric() || *letter == '_').collect();
    (!name.is_empty()).then_some(name)
}

fn map_file<'a>(read: &'a Readable, text: &'a str, kind: MapKind, faults: &'a Faults) -> MapFile<'a> {
    MapFile {
        file: read.file,
        middle_c: std::cell::Cell::new(4),
        lost: &read.lost,
        layers: &read.layers,
        text,
        kind,
        faults,
    }
}

fn whole(file: usize) -> Spot {
    Spot { file, start: 0, end: 0 }
}

fn line_of(text: &str, at: usize) -> usize {
    text.as_bytes().iter().take(at).filter(|byte| **byte == b'\n').count()
}

fn mistaken(named: &set::NamedFile, wanted: MapKind, other: MapKind) -> Diagnostic {
    let title = format!("{} looks like {}, not {}", quoted(&named.value), other.called(), wanted.called());
    Diagnostic::error(FaultKind::Unreadable, named.spot, title).help(wanted.asked_for())
}

fn reason(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "there is no such file".to_owned(),
        io::ErrorKind::IsADirectory => "it is a folder".to_owned(),
        io::ErrorKind::PermissionDenied => "you may not read it".to_owned(),
        _ => error.to_string(),
    }
}

/// What is said of the path of a file that is not there.
pub(crate) const FROM_THE_SET: &str = "write a path that starts at the folder of the set's own file";

/// What the user may have meant by a path to a file that cannot be read.
fn instead(named: &str, error: &io::Error) -> String {
    let beside = error.get_ref().and_then(|inner| inner.downcast_ref::<Beside>());
    let (folder, file) =
        named.rsplit_once(is_separator).map_or(("", named), |(_, file)| (&named[..named.len() - file.len()], file));
    let known = || beside.iter().flat_map(|beside| &beside.0).map(String::as_str);
    // Without its ending a name is short, and so is what tells it from others.
    let stem = |name: &str| name.trim_end_matches(".toml").replace([' ', '_'], "-").to_lowercase();
    let near = nearest(&stem(file), known().map(|name| name.trim_end_matches(".toml")));
    let near = known().find(|name| stem(name) == stem(file) || near == Some(name.trim_end_matches(".toml")));
    match near {
        Some(near) => did_you_mean(&format!("{folder}{near}")),
        None => FROM_THE_SET.to_owned(),
    }
}

/// What a file is that was never a map, by its first bytes, and what to do.
fn no_text(bytes: &[u8]) -> Option<(&'static str, &'static str)> {
    const DOCUMENT: (&str, &str) =
        ("a word processor's document", "open it there and save it as plain text, with the encoding UTF-8");
    const KINDS: [(&[u8], (&str, &str)); 7] = [
        (b"PK\x03\x04", DOCUMENT),
        (b"{\\rtf", DOCUMENT),
        (b"\xD0\xCF\x11\xE0", DOCUMENT),
        (b"\xFF\xFE", ("text with the encoding UTF-16", "save it with the encoding UTF-8")),
        (b"\xFE\xFF", ("text with the encoding UTF-16", "save it with the encoding UTF-8")),
        (b"MThd", ("a standard MIDI file, such as a take", "name the set first and the take after it")),
        (b"%PDF", ("a page for printing", "name the file that it was made of")),
    ];
    KINDS.iter().find(|(first, _)| bytes.starts_with(first)).map(|(_, kind)| *kind)
}

/// A path that a set names, as a path beside the set: that under which its file is read and spoken of.
#[must_use]
pub fn path_beside(set: &str, named: &str) -> String {
    let folder = Path::new(set).parent().unwrap_or(Path::new(""));
    let joined: PathBuf = folder.join(named).components().filter(|part| *part != Component::CurDir).collect();
    let joined = joined.to_string_lossy();
    if cfg!(windows) { separated_as(set, &joined) } else { joined.into_owned() }
}

/// On Windows a path that is put together gets `\` between its parts; written as the set's own path is, it is the name
/// under which the set's files are known. Where the set's path has `\`, or the whole begins with `\\?\`, which knows no
/// other separator, it stays.
fn separated_as(set: &str, path: &str) -> String {
    if set.contains('\\') || path.starts_with(r"\\?\") { path.to_owned() } else { path.replace('\\', "/") }
}

/// A path without detours, to tell whether two are the same file.
fn plain(path: impl AsRef<Path>) -> PathBuf {
    let mut plain = PathBuf::new();
    for part in path.as_ref().components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir if matches!(plain.components().next_back(), Some(Component::Normal(_))) => {
                plain.pop();
            }
            part => plain.push(part),
        }
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_named_with_the_separators_of_the_set() {
        assert_eq!(separated_as("evening/set.toml", r"evening\songs\a.toml"), "evening/songs/a.toml");
        assert_eq!(separated_as("set.toml", r"songs\a.toml"), "songs/a.toml");
        assert_eq!(separated_as(r"evening\set.toml", r"evening\songs\a.toml"), r"evening\songs\a.toml");
        assert_eq!(separated_as("set.toml", r"\\?\C:\a.toml"), r"\\?\C:\a.toml");
        assert_eq!(path_beside("maps/set.toml", "./songs/a.toml"), "maps/songs/a.toml");
    }
}
