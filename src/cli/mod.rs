//! The command line: one file per command, and what several commands share.

mod beside;
mod check;
mod console;
mod cueing;
mod demo;
mod doing;
mod explain;
mod fingers;
mod first_run;
mod gear_file;
mod key;
mod keyboard;
mod listen;
mod log;
mod maps;
mod new;
mod pack;
mod page;
mod play;
mod ports;
mod practice;
mod print;
mod progress;
mod reach;
mod replay;
mod report;
mod rotation;
mod schema;
mod set;
mod signals;
mod singer;
mod status;
mod table;
mod teller;
mod telling;
mod terminal;
mod tryout;

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};

use crate::paper::PaperOptions;
use console::{Failure, complain};

/// Piano and pad with one hand, song by song: velocity curves, key splits, layers, transposition and program changes
/// from TOML maps, between a MIDI keyboard and the machines that sound.
#[derive(Debug, Parser)]
#[command(name = "handspan", version, max_term_width = 100)]
#[command(after_help = "Examples:
  handspan try                           a demo without a keyboard, then a page to play on
  handspan new evening                   a folder to start from, with a gear file, a song and a set
  handspan try evening/set.toml          play it on a page, with nothing plugged in
  handspan ports                         what is plugged in
  handspan listen evening/set.toml       what arrives, and how a map says it
  handspan check maps/midwinter.toml     what could go wrong tonight
  handspan play maps/midwinter.toml      play it
  handspan print maps/midwinter.toml     the same on paper
  handspan explain linger                what a word means
  handspan do next-song                  steer it from another terminal, or a script
  handspan status                        its song, section, keys and ports

Exit codes: 0 done, 1 it could not be done or a map has errors, 2 the command line is wrong or a file cannot be read.")]
struct CommandLine {
    // None: what is connected, and where to begin.
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// A demo without a keyboard, then a page to play on; or a set of your own there.
    ///
    /// Without a set it shows for each song of a demo what the hand of a recorded take played, beside what each output got.
    /// In a terminal it then serves a page that you play and hear in a browser, until Ctrl-C.
    ///
    /// With a set it serves that page for the set, with nothing plugged in; with a take too it shows the take beside what
    /// each output got.
    #[command(after_help = TRY_HELP)]
    Try {
        /// A set of your own, instead of the demo.
        set: Option<String>,
        /// A standard MIDI file of what was played, to be shown with that set.
        take: Option<PathBuf>,
        /// Serves the page although this is no terminal, and after a take too.
        #[arg(long)]
        page: bool,
        /// Where the demo's maps, takes and replayed files are left; a new folder for temporary files if not given.
        #[arg(long, value_name = "FOLDER", conflicts_with = "set")]
        out: Option<PathBuf>,
        /// The input whose playing the take holds; the gear file's first with play = true if not given.
        #[arg(long, value_name = "NAME", requires = "take")]
        input: Option<String>,
    },
    /// Lays out a folder to start from: a gear file, a song and a set, explained in plain words.
    #[command(after_help = new::HELP)]
    New {
        /// The folder; made if it does not exist.
        folder: PathBuf,
        /// Part of the name of the port that you play on; `handspan ports` lists them.
        #[arg(long, value_name = "PORT")]
        input: Option<String>,
        /// Part of the name of the port that sounds.
        #[arg(long, value_name = "PORT")]
        output: Option<String>,
        /// What gives the ports: the system's own back end, or the portable one.
        #[arg(long, value_name = "BACKEND", default_value = "system")]
        backend: BackendOption,
    },
    /// Plays a set: from the keyboard to the sounds, until it is told to stop.
    #[command(after_help = terminal::KEYS_HELP)]
    Play {
        /// The set's map, such as maps/midwinter.toml.
        set: String,
        /// What gives the ports: the system's own back end, or the portable one, which notices less.
        #[arg(long, value_name = "BACKEND", default_value = "system")]
        backend: BackendOption,
        /// Opens no ports: the page is keyboard and loudspeaker, and nothing is kept for a restart.
        #[arg(long, conflicts_with = "backend")]
        no_ports: bool,
        /// Writes what happens, line by line with its time, at the end of this file.
        #[arg(long, value_name = "FILE")]
        log: Option<PathBuf>,
        /// Records what is played and what comes out, in a new folder below this one.
        #[arg(long, value_name = "FOLDER")]
        take: Option<PathBuf>,
        /// Tells this one from others that run beside it: up to 40 letters a to z, digits, - and _. "handspan" if not
        /// given.
        #[arg(long, value_name = "NAME")]
        name: Option<String>,
    },
    /// Has something done by the handspan that plays, from another terminal or a script.
    #[command(after_help = doing::help())]
    Do {
        /// What is to be done, in one word or several.
        #[arg(required = true, value_name = "ACTION")]
        words: Vec<String>,
        /// Which handspan, where several run.
        #[arg(long, value_name = "NAME")]
        name: Option<String>,
    },
    /// The state of the handspan that plays: song, section, keys, zones, ports, and what was left out.
    #[command(after_help = "Examples:\n  handspan status\n  handspan status --json --name choir")]
    Status {
        /// For programs: one object as JSON on standard output.
        #[arg(long)]
        json: bool,
        /// Which handspan, where several run.
        #[arg(long, value_name = "NAME")]
        name: Option<String>,
    },
    /// Changes the set's file: adds, moves and removes songs, gives them keys and singers.
    #[command(after_help = set::HELP)]
    Set {
        /// The set's map.
        set: String,
        #[command(subcommand)]
        change: set::SetChange,
    },
    /// Which key suits who sings, with reasons; and a key that is chosen, written into the set's file.
    #[command(after_help = singer::HELP)]
    Singer {
        /// The set's map.
        set: String,
        /// A song, by its title in any case or its position; all that somebody sings, if not given.
        song: Option<String>,
        /// A standard MIDI file of the melody, played in the chart's key: what it spans, and how long each note is.
        #[arg(long, value_name = "TAKE", requires = "song")]
        melody: Option<PathBuf>,
        /// For a kind of voice instead of who sings: soprano, mezzo, alto, tenor, baritone or bass.
        #[arg(long, value_name = "VOICE", requires = "song", value_parser = singer::voice)]
        voice: Option<crate::music::VoiceType>,
        /// The guitar's shapes with a capo on this fret, 1 to 11.
        #[arg(long, value_name = "FRET", requires = "song", value_parser = clap::value_parser!(u8).range(1..=11))]
        capo: Option<u8>,
        /// Also the fingers' keys with the fewest black keys.
        #[arg(long, requires = "song")]
        fingers: bool,
        /// Writes this key into the set's file, comments kept.
        #[arg(long = "use", value_name = "KEY", requires = "song")]
        chosen: Option<String>,
    },
    /// Which key a take is in, and what its melody spans.
    #[command(after_help = key::HELP)]
    Key {
        /// A standard MIDI file.
        take: PathBuf,
        /// Writes key and melody_range into this song's map, comments kept.
        #[arg(long, value_name = "SONG")]
        write: Option<String>,
    },
    /// The MIDI inputs and outputs that the system has now.
    #[command(after_help = "Examples:\n  handspan ports\n  handspan ports --backend portable")]
    Ports {
        /// What gives the ports: the system's own back end, or the portable one.
        #[arg(long, value_name = "BACKEND", default_value = "system")]
        backend: BackendOption,
    },
    /// What arrives at the inputs, in words, with the line of a map that means it.
    #[command(after_help = listen::HELP)]
    Listen {
        /// A set or a gear file, whose names are used; whatever is plugged in, if not given.
        #[arg(value_name = "SET|GEAR")]
        file: Option<String>,
        /// Writes what arrives first into the gear file: its input if it has none, and with an action a cue for that.
        #[arg(long, value_name = "ACTION", num_args = 0..=1)]
        write: Option<Option<String>>,
        /// What gives the ports: the system's own back end, or the portable one.
        #[arg(long, value_name = "BACKEND", default_value = "system")]
        backend: BackendOption,
        /// Opens no ports, and says what that means.
        #[arg(long, conflicts_with = "backend")]
        no_ports: bool,
    },
    /// Everything that could go wrong with a set, before it does.
    #[command(after_help = "Errors must be put right; hints are worth a look.\n\nExamples:\n  \
        handspan check maps/midwinter.toml\n  handspan check maps/midwinter.toml --json")]
    Check {
        /// The set's map.
        set: String,
        /// For programs: a list of findings as JSON on standard output.
        #[arg(long)]
        json: bool,
    },
    /// Plays a recorded take through a set again, offline and exact: one standard MIDI file for each output.
    #[command(
        after_help = "Markers in the take steer the set: `song 2`, `section Chorus`, `key Eb`, `do next-song`.\n\n\
        Examples:\n  handspan replay maps/midwinter.toml maps/takes/whole-set.mid --out replayed\n  \
        handspan replay evening/set.toml yesterday.mid --out again --input upper"
    )]
    Replay {
        /// The set's map.
        set: String,
        /// A standard MIDI file of what was played.
        take: PathBuf,
        /// The folder for the replayed files; made if it does not exist.
        #[arg(long, value_name = "FOLDER")]
        out: PathBuf,
        /// The input whose playing the take holds; the gear file's first with play = true if not given.
        #[arg(long, value_name = "NAME")]
        input: Option<String>,
    },
    /// An evening's folder in one ZIP file, for another machine or a substitute; checked before it is written.
    #[command(after_help = pack::PACK_HELP)]
    Pack {
        /// The set's map.
        set: String,
        /// The file to write, such as evening.zip.
        #[arg(value_name = "FILE.zip")]
        file: PathBuf,
        /// Another file from the set's folder, such as a take.
        #[arg(long, value_name = "FILE")]
        with: Vec<String>,
    },
    /// Lays out a folder that `pack` packed, checked first.
    #[command(after_help = pack::UNPACK_HELP)]
    Unpack {
        /// The file that `pack` wrote.
        #[arg(value_name = "FILE.zip")]
        file: PathBuf,
        /// The folder: a new one, or an empty one.
        folder: PathBuf,
    },
    /// One text file for whoever helps: versions, ports, maps, findings, state and log, without passcodes.
    #[command(after_help = report::HELP)]
    Report {
        /// The set's map; the machine alone, if not given.
        set: Option<String>,
        /// The log that `play --log` wrote.
        #[arg(long, value_name = "FILE")]
        log: Option<PathBuf>,
        /// The report; a new file in this folder, named by date and time, if not given.
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
    /// What a word means: a field of the maps, an action, a kind of chord, a word of handspan's own.
    #[command(after_help = explain::HELP)]
    Explain {
        /// The word, or all that there are if not given.
        #[arg(value_name = "WORD")]
        words: Vec<String>,
    },
    /// What a kind of map may hold, as JSON Schema: for editors that complete and explain.
    #[command(after_help = "An editor that knows JSON Schema for TOML finds it by the map's first line.\n\n\
        Examples:\n  handspan schema song > song.json\n  handspan schema gear > gear.json\n\n\
        The first line of a song in the folder below is then #:schema ../song.json")]
    Schema {
        /// The kind of map.
        kind: schema::KindOption,
    },
    /// The set on paper, for a substitute or a power cut: one PDF and one HTML file.
    #[command(after_help = print::HELP)]
    Print {
        /// The set's map.
        set: String,
        /// The folder for both files, made if it does not exist; the current one if not given.
        #[arg(long, value_name = "FOLDER")]
        out: Option<PathBuf>,
        /// The chords of each section also as degrees of the key, in Roman numerals.
        #[arg(long)]
        degrees: bool,
    },
}

/// The back end of the ports, as the command line says it.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum BackendOption {
    System,
    Portable,
}

impl From<BackendOption> for crate::ports::Backend {
    fn from(backend: BackendOption) -> Self {
        match backend {
            BackendOption::System => crate::ports::Backend::System,
            BackendOption::Portable => crate::ports::Backend::Portable,
        }
    }
}

const TRY_HELP: &str = "Examples:
  handspan try
  handspan try --page | less
  handspan try --out ~/handspan-demo
  handspan try my-set.toml                     play your own set on a page
  handspan try my-set.toml take.mid            what the outputs got for what was played";

/// A set of the player's own, on a page or with a take.
fn try_set(set: &str, take: Option<&Path>, page: bool, input: Option<&str>) -> Result<(), Failure> {
    if let Some(take) = take {
        beside::run(set, take, input)?;
    }
    if take.is_none() || page { practice::run(Path::new(set), None) } else { Ok(()) }
}

/// The command line as it is described, for man pages and completions.
#[must_use]
pub fn command_line() -> clap::Command {
    CommandLine::command()
}

/// Runs the command line of this process; the exit code is decided here and nowhere else.
#[must_use]
pub fn main() -> ExitCode {
    let Some(command) = CommandLine::parse().command else {
        first_run::run();
        return ExitCode::SUCCESS;
    };
    let (code, sentence) = match done(command) {
        Ok(()) => return ExitCode::SUCCESS,
        Err(Failure::Failed(sentence)) => (1, sentence),
        Err(Failure::Wrong(sentence)) => (2, sentence),
    };
    if !sentence.is_empty() {
        complain(&sentence);
    }
    ExitCode::from(code)
}

fn done(command: Command) -> Result<(), Failure> {
    match command {
        Command::Try { set: None, page, out, .. } => tryout::run(out, page || std::io::stdout().is_terminal()),
        Command::Try { set: Some(set), take, page, input, .. } => {
            try_set(&set, take.as_deref(), page, input.as_deref())
        }
        Command::New { folder, input, output, backend } => new::run(&new::NewOptions {
            folder: &folder,
            input: input.as_deref(),
            output: output.as_deref(),
            backend: backend.into(),
        }),
        Command::Play { set, backend, no_ports, log, take, name } => play::run(&play::PlayOptions {
            set: &set,
            backend: (!no_ports).then(|| backend.into()),
            log: log.as_deref(),
            take: take.as_deref(),
            name: name.as_deref(),
        }),
        Command::Do { words, name } => doing::run(words, name.as_deref()),
        Command::Status { json, name } => status::run(json, name.as_deref()),
        Command::Set { set, change } => set::run(&set, &change),
        Command::Singer { set, song, melody, voice, capo, fingers, chosen } => singer::run(&singer::SingerOptions {
            set: &set,
            song: song.as_deref(),
            melody: melody.as_deref(),
            voice,
            capo,
            fingers,
            chosen: chosen.as_deref(),
        }),
        Command::Key { take, write } => key::run(&take, write.as_deref()),
        Command::Ports { backend } => ports::run(backend.into()),
        Command::Listen { file, write, backend, no_ports } => listen::run(&listen::ListenOptions {
            file: file.as_deref(),
            write: write.as_ref().map(Option::as_deref),
            backend: (!no_ports).then(|| backend.into()),
        }),
        Command::Check { set, json } => check::run(&set, json),
        Command::Replay { set, take, out, input } => replay::run(&set, &take, &out, input.as_deref()),
        Command::Pack { set, file, with } => pack::pack(&set, &file, &with),
        Command::Unpack { file, folder } => pack::unpack(&file, &folder),
        Command::Report { set, log, out } => {
            report::run(&report::ReportOptions { set: set.as_deref(), log: log.as_deref(), out: out.as_deref() })
        }
        Command::Explain { words } => explain::run(&words, &command_line()),
        Command::Schema { kind } => {
            schema::run(kind.into());
            Ok(())
        }
        Command::Print { set, out, degrees } => print::run(&set, out.as_deref(), PaperOptions { degrees }),
    }
}
