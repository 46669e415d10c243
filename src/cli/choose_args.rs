//! What is typed after `scrimcheck choose`.

use super::shared_args::{AnswerArgs, NamingArgs};
use clap::Args;
use std::path::PathBuf;

/// `scrimcheck choose`
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct ChooseArgs {
    /// Folders of finished jobs, or sessions
    #[arg(value_name = "DIR", num_args = 1.., default_value = ".")]
    pub jobs: Vec<PathBuf>,
    /// Manifest of the next room (its session.toml, or its folder); what is typed beside it counts
    /// first
    #[arg(long, value_name = "session.toml", help_heading = "Room")]
    pub room: Option<PathBuf>,
    /// Air between the loudspeaker's front and the sheet, m
    #[arg(long, value_name = "M", help_heading = "Room")]
    pub gap_m: Option<f64>,
    /// A seat: metres from the sheet and metres beside its axis, as 3.5 or 3.5,0.8; may be given
    /// several times
    #[arg(long = "seat", value_name = "M[,M]", allow_hyphen_values = true, help_heading = "Room")]
    pub seats: Vec<String>,
    /// Distance of the nearest seat from the sheet, m [default: that of the seats]
    #[arg(long, value_name = "M", help_heading = "Room")]
    pub nearest_seat_m: Option<f64>,
    /// Width of the picture, m
    #[arg(long, value_name = "M", help_heading = "Room")]
    pub width_m: Option<f64>,
    /// Height of the picture, m [default: 16:9]
    #[arg(long, value_name = "M", help_heading = "Room")]
    pub height_m: Option<f64>,
    /// Output of the projector, lm
    #[arg(long, value_name = "LM", help_heading = "Room")]
    pub projector_lm: Option<f64>,
    /// Power at reference level without a screen, W
    #[arg(long, value_name = "W", help_heading = "Room")]
    pub power_w: Option<f64>,
    /// Power of the amplifier, W
    #[arg(long, value_name = "W", help_heading = "Room")]
    pub amplifier_w: Option<f64>,
    /// Power that the high-frequency driver stands, W
    #[arg(long, value_name = "W", help_heading = "Room")]
    pub driver_limit_w: Option<f64>,
    /// Band of the high-frequency driver, Hz
    #[arg(long, value_name = "HZ,HZ", value_delimiter = ',', num_args = 2, help_heading = "Room")]
    pub driver_band_hz: Vec<f64>,
    /// A sheet that is described, not measured, in one word: NAME:key=value,key=value as in
    /// `predict`; may be given several times
    #[arg(long = "sheet", value_name = "NAME:KEY=VALUE,...", help_heading = "Sheets")]
    pub sheets: Vec<String>,
    /// How sheets are named.
    #[command(flatten, next_help_heading = "Sheets")]
    pub naming: NamingArgs,
    /// How the answer is given.
    #[command(flatten, next_help_heading = "Output")]
    pub answer: AnswerArgs,
}

const EXAMPLES: &str = "\
Sessions that are only begun, without takes, count as described where their manifest gives the
sheet's data.

Examples:
  scrimcheck choose jobs --room next-room/session.toml --out choice
  scrimcheck choose jobs --gap-m 0.08 --seat 3.2 --seat 4.4,0.8 --width-m 3 --projector-lm 1800";
