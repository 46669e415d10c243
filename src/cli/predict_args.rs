//! What is typed after `scrimcheck predict`.

use clap::Args;
use std::path::PathBuf;

pub use crate::analysis::predict::FRONT_REFLECTION;

/// `scrimcheck predict`
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, allow_negative_numbers = true)]
pub struct PredictArgs {
    /// The sheet that is described by single options.
    #[command(flatten)]
    pub sheet: SheetArgs,
    /// Another sheet to set beside, in one word: NAME:key=value,key=value with the keys of the
    /// sheet options (hole_mm, pitch_mm, ...); may be given several times
    #[arg(long = "sheet", value_name = "NAME:KEY=VALUE,...")]
    pub sheets: Vec<String>,
    /// Air between the loudspeaker's front and the sheet, m; without it no echo is computed
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
    /// Width of the picture, m; needed for viewing angles
    #[arg(long, value_name = "M", help_heading = "Picture and seats")]
    pub width_m: Option<f64>,
    /// Width of the picture over its height
    #[arg(long, value_name = "RATIO", default_value_t = 1.778, help_heading = "Picture and seats")]
    pub aspect: f64,
    /// A seat: metres from the sheet and metres beside its axis, as 3.5 or 3.5,0.8; may be given
    /// several times
    #[arg(
        long = "seat",
        value_name = "M[,M]",
        allow_hyphen_values = true,
        requires = "width_m",
        help_heading = "Picture and seats"
    )]
    pub seats: Vec<String>,
    /// Period of weave or holes, mm, to tell from where it is seen [default: the hole pitch]
    #[arg(long, value_name = "MM", requires = "width_m", help_heading = "Picture and seats")]
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

/// One sheet by single options; kept as words, so that they are read like those of `--sheet`.
#[derive(Debug, Args)]
#[command(next_help_heading = "Sheet")]
pub struct SheetArgs {
    /// Name in tables
    #[arg(long, default_value = "Sheet")]
    pub name: String,
    /// perforated, woven or film
    #[arg(long, value_name = "KIND")]
    pub construction: Option<String>,
    /// Hole diameter, mm
    #[arg(long, value_name = "MM")]
    pub hole_mm: Option<String>,
    /// Distance between hole centres, mm
    #[arg(long, value_name = "MM")]
    pub pitch_mm: Option<String>,
    /// Thickness of the sheet, mm
    #[arg(long, value_name = "MM")]
    pub thickness_mm: Option<String>,
    /// Open area, percent; instead of the pitch
    #[arg(long, value_name = "PERCENT")]
    pub open_area_percent: Option<String>,
    /// square or staggered
    #[arg(long, value_name = "LAYOUT")]
    pub lattice: Option<String>,
    /// Mass per area, g/m2
    #[arg(long, value_name = "G_M2")]
    pub mass_g_m2: Option<String>,
    /// Specific flow resistance, Pa s/m
    #[arg(long, value_name = "PA_S_M", alias = "flow-resistance")]
    pub flow_resistance_pa_s_m: Option<String>,
    /// Mass per area of a cloth behind, g/m2
    #[arg(long, value_name = "G_M2")]
    pub backing_mass_g_m2: Option<String>,
    /// Flow resistance of a cloth behind, Pa s/m
    #[arg(long, value_name = "PA_S_M", alias = "backing-flow-resistance")]
    pub backing_flow_resistance_pa_s_m: Option<String>,
    /// Air between the sheet and a cloth behind, mm
    #[arg(long, value_name = "MM")]
    pub backing_air_mm: Option<String>,
}

const EXAMPLES: &str = "\
Keys of --sheet: construction (perforated, woven, film), hole_mm, pitch_mm, thickness_mm,
open_area_percent, lattice (square, staggered), mass_g_m2, flow_resistance_pa_s_m,
backing_mass_g_m2, backing_flow_resistance_pa_s_m, backing_air_mm.

Examples:
  scrimcheck predict --hole-mm 0.5 --pitch-mm 2 --thickness-mm 0.3 --gap-m 0.08
  scrimcheck predict --sheet \"weave:flow_resistance_pa_s_m=60,mass_g_m2=250\" \\
    --sheet \"vinyl:hole_mm=0.5,open_area_percent=5,thickness_mm=0.3,mass_g_m2=350\" --out forecast";
