//! The kinds of sessions that are looked at.

use scrimcheck::simulate::loudspeaker::Fall;
use scrimcheck::simulate::{Kind, Scenario};
use std::path::{Path, PathBuf};

/// Kinds that are reported together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// Simulated rooms and sheets as the estimator supposes them.
    Simulated,
    /// Nothing hung in either condition: the loss is 0.
    NothingHung,
    /// Loudspeakers, sheets and recordings that it does not suppose.
    OtherPhysics,
    /// Measured rooms with a clear direct sound, nothing hung, ...
    EmptyRooms,
    /// ... and with simulated sheets.
    Rooms,
    /// The same where no direct sound is clear.
    UnclearEmptyRooms,
    /// With simulated sheets.
    UnclearRooms,
}

/// One kind.
pub struct Studied {
    pub name: String,
    pub group: Group,
    /// The session of a seed.
    pub scenario: Box<dyn Fn(u64) -> Scenario + Sync>,
}

/// Fall of the treble at 16 kHz, dB.
const FALLS_DB: [u32; 5] = [0, 10, 20, 30, 40];
/// Seats of a session in a measured room: each hears the same response with directions of its own.
const SEATS: usize = 4;

/// Responses whose direct sound is not clear, by the rule in `fixtures/measured_rooms/README.md`.
const UNCLEAR: [&str; 5] = [
    "church",
    "listening_room_mic4_speaker12",
    "living_room",
    "meeting_room_from_hallway",
    "variable_room",
];

/// All kinds, group by group.
///
/// # Errors
/// A fixture that cannot be read is named.
pub fn all_kinds() -> Result<Vec<Studied>, String> {
    let group = |kind: Kind| match kind {
        Kind::NothingHung => Group::NothingHung,
        Kind::RealSpeaker
        | Kind::Scattering
        | Kind::ScatteringFilm
        | Kind::HeavyOneSpot
        | Kind::Heights => Group::OtherPhysics,
        _ => Group::Simulated,
    };
    let plain = Kind::all()
        // Without control takes a gain step cannot be told from loss: nothing to hold against.
        // What hangs nowhere comes with its falls.
        .filter(|(kind, _)| !matches!(kind, Kind::GainStep | Kind::NothingHung))
        .map(|(kind, name)| Studied {
            name,
            group: group(kind),
            scenario: Box::new(move |seed| Scenario::random(kind, seed)),
        });
    let falls = FALLS_DB.map(|db| Studied {
        name: format!("nothing_hung_fall_{db}"),
        group: Group::NothingHung,
        scenario: Box::new(move |seed| falling(seed, f64::from(db))),
    });
    let mut kinds: Vec<Studied> = plain.chain(falls).collect();
    let rooms = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/measured_rooms");
    for file in waves(&rooms)? {
        let (rate_hz, response) = read(&file)?;
        let name = file.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let [empty, hung] = match UNCLEAR.contains(&name.as_str()) {
            false => [Group::EmptyRooms, Group::Rooms],
            true => [Group::UnclearEmptyRooms, Group::UnclearRooms],
        };
        for (group, what) in [(empty, Kind::NothingHung), (hung, Kind::Mixed)] {
            let response = response.clone();
            let empty = if what == Kind::NothingHung { "_empty" } else { "" };
            kinds.push(Studied {
                name: format!("{name}{empty}"),
                group,
                scenario: Box::new(move |seed| Scenario {
                    rate_hz,
                    ..Scenario::random(what, seed).with_measured(vec![response.clone(); SEATS])
                }),
            });
        }
    }
    kinds.sort_by_key(|kind| kind.group as usize);
    Ok(kinds)
}

/// Nothing hung behind a loudspeaker that falls from 2 to 8 kHz on.
fn falling(seed: u64, fall_db: f64) -> Scenario {
    let mut scenario = Scenario::random(Kind::NothingHung, seed);
    let from_hz = 2000.0 * 4f64.powf((seed % 7) as f64 / 6.0);
    scenario.speaker.falls = vec![Fall::to(from_hz, 16_000.0, fall_db)];
    scenario
}

fn waves(folder: &Path) -> Result<Vec<PathBuf>, String> {
    let entries = std::fs::read_dir(folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let mut files: Vec<PathBuf> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "wav"))
        .collect();
    files.sort();
    Ok(files)
}

/// Rate in Hz and samples of a mono file of whole numbers.
fn read(file: &Path) -> Result<(u32, Vec<f64>), String> {
    let failed = |e: hound::Error| format!("{}: {e}", file.display());
    let mut reader = hound::WavReader::open(file).map_err(failed)?;
    let spec = reader.spec();
    let full = 2f64.powi(i32::from(spec.bits_per_sample) - 1);
    let samples = reader.samples::<i32>().map(|s| s.map(|s| f64::from(s) / full));
    Ok((spec.sample_rate, samples.collect::<Result<_, _>>().map_err(failed)?))
}
