//! What is typed, word by word. Nothing behind `settings` sees these types.

use super::choose_args::ChooseArgs;
use super::predict_args::PredictArgs;
use super::shared_args::{AnswerArgs, NamingArgs};
use clap::{Args as ClapArgs, Parser, Subcommand};
use std::path::PathBuf;

/// Measures what a sound-transparent projection screen takes away from the
/// loudspeaker behind it, seat by seat, from sweeps recorded without and with it.
#[derive(Debug, Parser)]
#[command(name = "scrimcheck", version, max_term_width = 100, after_help = AFTER_HELP)]
pub struct Args {
    /// What to do; the page in the present folder where nothing is said.
    #[command(subcommand)]
    pub command: Option<Command>,
}

const AFTER_HELP: &str = "Exit status: 0 done; 1 done, and with --strict a claim was not shown to \
                          hold, or check found a take to repeat; 2 command line wrong; 3 session refused; 4 output cannot be written.";

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Do the whole job in the browser, recording included; without a command, in this folder
    Open(OpenArgs),
    /// Invent a session by simulation and analyse it: the first thing to run
    Demo(DemoArgs),
    /// Make a new session folder: manifest, test signal, take sheet
    Start(StartArgs),
    /// Bring what a recorder gives into a session: find the sweeps, cut, name and file them
    Import(ImportArgs),
    /// Judge the takes of a session, finished or not, and say what to record next
    Check(CheckArgs),
    /// Analyse a session folder and write the report
    #[command(alias = "analyse")]
    Analyze(AnalyzeArgs),
    /// Set sessions side by side, or tell what each sheet did over a folder of jobs
    Compare(CompareArgs),
    /// Write sounds to hear what the screen does: without, with it, with screen and setting
    Listen(ListenArgs),
    /// Rank the known sheets for the next room
    Choose(Box<ChooseArgs>),
    /// Write the test signal
    Sweep(SweepArgs),
    /// Say what a described sheet will lose, before buying it
    Predict(Box<PredictArgs>),
}

/// `scrimcheck open`
#[derive(Debug, ClapArgs)]
#[command(
    after_help = "The page is served from this machine to this machine alone. Ctrl-C ends it."
)]
pub struct OpenArgs {
    /// A session folder, or a folder of session folders
    #[arg(value_name = "DIR", default_value = ".")]
    pub folder: PathBuf,
    /// Port on 127.0.0.1 [default: a free one]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    pub port: Option<u16>,
    /// Print the address and start no browser
    #[arg(long)]
    pub no_browser: bool,
}

/// `scrimcheck start`
#[derive(Debug, ClapArgs)]
pub struct StartArgs {
    /// Folder to make
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
    /// Seats, e.g. R1L,R1C,R1R
    #[arg(
        long,
        value_name = "ID,ID,...",
        value_delimiter = ',',
        required_unless_present = "like",
        conflicts_with = "like"
    )]
    pub seats: Vec<String>,
    /// A session beside the new one with the same sweep, seats and takes without a screen: for a
    /// second cloth on the same evening
    #[arg(long, value_name = "DIR")]
    pub like: Option<PathBuf>,
    /// Title of the job [default: name of the folder]
    #[arg(long)]
    pub title: Option<String>,
    /// Microphone placements for each seat and condition
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = clap::value_parser!(u32).range(1..=6))]
    pub spots: u32,
    /// Shape of the test signal.
    #[command(flatten)]
    pub sweep: SweepShape,
    /// Replace manifest, test signal and take sheet that are already there
    #[arg(long)]
    pub force: bool,
}

/// `scrimcheck demo`
#[derive(Debug, ClapArgs)]
pub struct DemoArgs {
    /// Folder to make
    #[arg(value_name = "DIR", default_value = "scrimcheck-demo")]
    pub folder: PathBuf,
    /// Print the result document instead of the table
    #[arg(long)]
    pub json: bool,
    /// Write also into a folder that holds other files (they are kept)
    #[arg(long)]
    pub force: bool,
}

/// `scrimcheck analyze`
#[derive(Debug, ClapArgs)]
pub struct AnalyzeArgs {
    /// Folder that holds session.toml
    #[arg(value_name = "DIR")]
    pub session: PathBuf,
    /// Folder for the report [default: DIR/report]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print the result document instead of the table
    #[arg(long)]
    pub json: bool,
    /// Exit with status 1 when a claim is not shown to hold
    #[arg(long)]
    pub strict: bool,
    /// Write also into a folder that holds other files (they are kept)
    #[arg(long)]
    pub force: bool,
}

/// `scrimcheck import`
#[derive(Debug, ClapArgs)]
#[command(
    after_help = "Recordings: WAV in all kinds, W64, AIFF, CAF, FLAC, at any usual rate. They \
                        are never changed. Exit status 1 when a take must be made again."
)]
pub struct ImportArgs {
    /// Folder that holds session.toml
    #[arg(value_name = "DIR")]
    pub session: PathBuf,
    /// Recordings, or folders of recordings, in the order in which they were made
    #[arg(value_name = "RECORDING", num_args = 1.., required = true)]
    pub recordings: Vec<PathBuf>,
    /// Condition of recordings whose names do not say it; two for a recording that holds both,
    /// one after the other
    #[arg(long, value_name = "CONDITION,...", value_delimiter = ',', value_enum)]
    pub condition: Vec<ConditionArg>,
    /// The control loudspeaker played
    #[arg(long)]
    pub control: bool,
    /// Seats in the order in which they were recorded [default: as in session.toml]
    #[arg(long, value_name = "ID,ID,...", value_delimiter = ',')]
    pub seats: Vec<String>,
    /// Microphone placements at each seat [default: as the takes that are there, or as the number
    /// of sweeps says]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=99))]
    pub spots: Option<u32>,
    /// Channel of the microphone, counted from 1 [default: the one that holds the sweep]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    pub channel: Option<u16>,
    /// Show the table and write nothing
    #[arg(long)]
    pub dry_run: bool,
    /// Write without asking
    #[arg(long)]
    pub yes: bool,
    /// Replace takes that are already there
    #[arg(long)]
    pub force: bool,
    /// Print a JSON document instead of the table; with --yes or --dry-run
    #[arg(long)]
    pub json: bool,
}

/// `--condition`
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum ConditionArg {
    /// Screen not hung
    Without,
    /// Screen hung
    With,
    /// Screen hung and equaliser active
    Corrected,
}

impl From<ConditionArg> for crate::ingest::manifest::Condition {
    fn from(arg: ConditionArg) -> Self {
        match arg {
            ConditionArg::Without => Self::Without,
            ConditionArg::With => Self::With,
            ConditionArg::Corrected => Self::Corrected,
        }
    }
}

/// `scrimcheck check`
#[derive(Debug, ClapArgs)]
#[command(after_help = "Exit status 1 when a take must be made again.")]
pub struct CheckArgs {
    /// Folder that holds session.toml
    #[arg(value_name = "DIR")]
    pub session: PathBuf,
    /// Print a JSON document instead of the list
    #[arg(long)]
    pub json: bool,
}

/// `scrimcheck compare`
#[derive(Debug, ClapArgs)]
#[command(
    after_help = "A folder of sessions stands for all of them, three folders deep: then it is \
                        told what each sheet did over its rooms. What changed since its report is \
                        analysed anew."
)]
pub struct CompareArgs {
    /// Session folders, or folders of sessions
    #[arg(value_name = "DIR", num_args = 1.., required = true)]
    pub sessions: Vec<PathBuf>,
    /// The two sessions are one room, measured twice: the older one first
    #[arg(long, conflicts_with_all = ["sheets", "same", "distinct"])]
    pub same_room: bool,
    /// How sheets are named.
    #[command(flatten)]
    pub naming: NamingArgs,
    /// A sheet that is described, not measured, in one word: NAME:key=value,key=value as in
    /// `predict`; may be given several times
    #[arg(long = "sheet", value_name = "NAME:KEY=VALUE,...")]
    pub sheets: Vec<String>,
    /// Air between the loudspeaker's front and described sheets, m; without it their echo is
    /// left out
    #[arg(long, value_name = "M", requires = "sheets")]
    pub gap_m: Option<f64>,
    /// How the answer is given.
    #[command(flatten)]
    pub answer: AnswerArgs,
}

/// `scrimcheck listen`
#[derive(Debug, ClapArgs)]
#[command(after_help = LISTEN_HELP)]
pub struct ListenArgs {
    /// Session folder; several to hear their screens against each other, none for described
    /// sheets alone
    #[arg(value_name = "DIR", required_unless_present = "sheets")]
    pub sessions: Vec<PathBuf>,
    /// Seat to listen at [default: the one that counts most, of equals the first]
    #[arg(long, value_name = "ID")]
    pub seat: Option<String>,
    /// A sound of your own, WAV or FLAC, mono or stereo, of which two minutes are taken
    /// [default: pink noise, clicks and speech-shaped noise made by the program]
    #[arg(long, value_name = "FILE")]
    pub sound: Option<PathBuf>,
    /// A sheet that is described, not measured, in one word: NAME:key=value,key=value as in
    /// `predict`; may be given several times
    #[arg(long = "sheet", value_name = "NAME:KEY=VALUE,...")]
    pub sheets: Vec<String>,
    /// Air between the loudspeaker's front and described sheets, m [default: the gap of the first
    /// session; without one their echo is left out]
    #[arg(long, value_name = "M", requires = "sheets")]
    pub gap_m: Option<f64>,
    /// Write all versions at the same loudness instead of as they are
    #[arg(long)]
    pub matched: bool,
    /// Folder for the sounds [default: DIR/listen]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Write also into a folder that holds other files (they are kept)
    #[arg(long)]
    pub force: bool,
}

const LISTEN_HELP: &str = "\
As they are, what the screen takes away in level is heard too; no version is louder than the source.
With --matched all are as loud as the softest (ITU-R BS.1770), so that only the tone differs: a louder
sound is simply preferred. Begin with the volume low.";

/// `scrimcheck sweep`
#[derive(Debug, ClapArgs)]
pub struct SweepArgs {
    /// WAV file to write
    #[arg(value_name = "OUT.wav")]
    pub out: PathBuf,
    /// Shape of the signal.
    #[command(flatten)]
    pub sweep: SweepShape,
    /// Replace a file that is already there
    #[arg(long)]
    pub force: bool,
}

/// The shape of the test signal.
#[derive(Debug, ClapArgs)]
pub struct SweepShape {
    /// Lowest frequency, Hz
    #[arg(long, value_name = "HZ", default_value_t = 20.0)]
    pub start_hz: f64,
    /// Highest frequency, Hz
    #[arg(long, value_name = "HZ", default_value_t = 20_000.0)]
    pub stop_hz: f64,
    /// Length of the sweep, s
    #[arg(long, value_name = "S", default_value_t = 5.0)]
    pub duration_s: f64,
    /// Peak level, dB re full scale
    #[arg(long, value_name = "DB", default_value_t = -12.0, allow_negative_numbers = true)]
    pub level_dbfs: f64,
    /// Sampling rate, Hz
    #[arg(long, value_name = "HZ", default_value_t = 48_000)]
    pub rate_hz: u32,
}
