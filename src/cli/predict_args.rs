//! What is typed after `scrimcheck predict`.

use clap::Args;
use std::path::PathBuf;

pub use crate::analysis::predict::FRONT_REFLECTION;

/// `scrimcheck predict`
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, allow_negative_numbers = true)]
pub struct PredictArgs {
    /// A session.toml, or the folder it lies in: its table `screen` describes the sheet, and gap,
    /// picture and seats are those of the room, where they are stated
    #[arg(value_name = "FILE")]
    pub session: Option<PathBuf>,
    /// A key of the table `screen` with its value, as hole_diameter_mm=0.5, in place of what FILE
    /// says or without a file; may be given several times
    #[arg(long = "set", value_name = "KEY=VALUE", help_heading = "Sheet")]
    pub set: Vec<String>,
    /// Another sheet to set beside, in one word: NAME:key=value,key=value with the same keys; may be
    /// given several times
    #[arg(long = "sheet", value_name = "NAME:KEY=VALUE,...", help_heading = "Sheet")]
    pub sheets: Vec<String>,
    /// Air between the loudspeaker's front and the sheet, m [default: that of FILE]; without it no
    /// echo is computed
    #[arg(long, value_name = "M", help_heading = "Place")]
    pub gap_m: Option<f64>,
    /// Part of the sound pressure that the loudspeaker's front throws back, 0 to 1
    #[arg(long, value_name = "SHARE", default_value_t = FRONT_REFLECTION, help_heading = "Place")]
    pub front_reflection: f64,
    /// Angle between the sheet's normal and the way to the seat, degrees; several by commas
    #[arg(
        long,
        alias = "angle-deg",
        value_name = "DEG,DEG,...",
        value_delimiter = ',',
        default_value = "0",
        help_heading = "Place"
    )]
    pub angles_deg: Vec<f64>,
    /// Air temperature, degrees Celsius
    #[arg(long, value_name = "C", default_value_t = 20.0, help_heading = "Place")]
    pub temperature_c: f64,
    /// Width of the picture, m [default: that of FILE]; needed for viewing angles
    #[arg(long, value_name = "M", help_heading = "Picture and seats")]
    pub width_m: Option<f64>,
    /// Width of the picture over its height [default: that of FILE, else 16 to 9]
    #[arg(long, value_name = "RATIO", help_heading = "Picture and seats")]
    pub aspect: Option<f64>,
    /// A seat: metres from the sheet and metres beside its axis, as 3.5 or 3.5,0.8; may be given
    /// several times
    #[arg(
        long = "seat",
        value_name = "M[,M]",
        allow_hyphen_values = true,
        help_heading = "Picture and seats"
    )]
    pub seats: Vec<String>,
    /// Period of weave or holes, mm, to tell from where it is seen [default: that of the sheet]
    #[arg(long, value_name = "MM", help_heading = "Picture and seats")]
    pub structure_mm: Option<f64>,
    /// Folder for plots, CSV and JSON
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    pub out: Option<PathBuf>,
    /// Write into a folder that holds other files; they are kept
    #[arg(long, requires = "out", help_heading = "Output")]
    pub force: bool,
    /// Print JSON instead of the table
    #[arg(long, conflicts_with = "csv", help_heading = "Output")]
    pub json: bool,
    /// Print CSV instead of the table
    #[arg(long, help_heading = "Output")]
    pub csv: bool,
}

const EXAMPLES: &str = "\
Keys of --set and --sheet: construction (perforated, woven, film), hole_diameter_mm, hole_pitch_mm,
thickness_mm, open_area_percent, lattice (square, staggered), areal_mass_g_m2, flow_resistance_pa_s_m,
backing_areal_mass_g_m2, backing_flow_resistance_pa_s_m, backing_air_mm; of --set also name, gap_m,
width_m, height_m, weave_pitch_mm.

Examples:
  scrimcheck predict barn/session.toml --set gap_m=0.1
  scrimcheck predict --set hole_diameter_mm=0.5 --set hole_pitch_mm=2 --set thickness_mm=0.3 --gap-m 0.08
  scrimcheck predict --sheet \"weave:flow_resistance_pa_s_m=60,areal_mass_g_m2=250\" \\
    --sheet \"vinyl:hole_diameter_mm=0.5,open_area_percent=5,thickness_mm=0.3\" --out forecast";
