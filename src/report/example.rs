//! A made-up result for the tests of this layer: smooth losses in closed form,
//! small differences between seats, one doubtful and one absent band.

use super::result::SessionResult;
use crate::analysis::band_levels::Levels;
use crate::analysis::estimate::Estimate;
use crate::analysis::loss::{Absence, LossTable, MeanLoss, SeatLoss};
use crate::ingest::manifest::Manifest;
use crate::ingest::session::{Session, SweepSignal};
use crate::units::{ThirdOctave, fine_grid_hz};
use crate::warning::{Topic, Warning};

/// Loss of a limp sheet that grows with frequency, plus ripple, dB.
fn loss_db(hz: f64, seat: usize) -> f64 {
    let mass = 10.0 * (1.0 + (hz / 7000.0).powi(2)).log10();
    let tilt = 0.12 * (seat as f64 * 2.1).sin() * (hz / 1000.0).ln();
    mass + 0.4 + 0.35 * (hz / 900.0 + seat as f64 * 0.4).sin() + tilt
}

fn estimate(value_db: f64, u_db: f64, dof: f64) -> Option<Estimate> {
    Some(Estimate { value_db, u_db, u_common_db: u_db / 3.0, dof, u95_db: 2.1 * u_db })
}

fn mean_of(values: impl Iterator<Item = Option<f64>>) -> Option<f64> {
    let present: Vec<f64> = values.flatten().collect();
    (!present.is_empty()).then(|| present.iter().sum::<f64>() / present.len() as f64)
}

/// A result with `n_seats` seats over 100 Hz to 16 kHz; 125 Hz is absent.
pub fn example_result(n_seats: usize) -> SessionResult {
    let (session, table) = example_losses(n_seats);
    let mut result = SessionResult::new(
        &session,
        &table,
        vec![Warning {
            topic: Topic::LevelAmbiguity,
            seat: None,
            take: None,
            message: "The mean loss over 100 to 315 Hz is 0.92 dB, more than cloth takes away there."
                .into(),
            advice: "See that no level control was touched between the conditions, or record control takes."
                .into(),
        }],
    );
    let level = |b: &super::result::Band| 62.0 - 6.0 * (b.exact_hz / 400.0).log10().abs();
    let without: Vec<_> = result.bands.iter().map(|b| Some(level(b))).collect();
    let with = without.iter().zip(&result.mean.loss_db).map(|(a, l)| Some((*a)? - (*l)?));
    let noise = |b: &super::result::Band| Some(28.0 - 7.0 * (b.exact_hz / 1000.0).log10());
    result.levels = Some(Levels {
        reference: "full scale of the recorder + 100 dB".into(),
        with_db: with.collect(),
        without_db: without,
        corrected_db: Vec::new(),
        noise_db: result.bands.iter().map(noise).collect(),
    });
    result
}

/// The session and the losses behind [`example_result`].
pub fn example_losses(n_seats: usize) -> (Session, LossTable) {
    let ids: Vec<String> =
        (0..n_seats).map(|s| format!("R{}{}", s / 3 + 1, ["L", "C", "R"][s % 3])).collect();
    let bands: Vec<ThirdOctave> = (-10..=12).map(ThirdOctave::from_index).collect();
    let fine_hz = fine_grid_hz(89.0, 17_500.0);
    let seats: Vec<SeatLoss> =
        ids.iter().enumerate().map(|(s, id)| seat(s, id, &bands, &fine_hz)).collect();
    let column = |b: usize| seats.iter().map(move |s| s.loss[b].map(|e| e.value_db));
    let mean = MeanLoss {
        loss: (0..bands.len()).map(|b| estimate(mean_of(column(b))?, 0.05, 25.0)).collect(),
        sd_db: (0..bands.len())
            .map(|b| {
                let mean = mean_of(column(b))?;
                let squares: f64 = column(b).flatten().map(|v| (v - mean).powi(2)).sum();
                (n_seats > 1).then(|| (squares / (n_seats - 1) as f64).sqrt())
            })
            .collect(),
        range_db: (0..bands.len())
            .map(|b| {
                let high = column(b).flatten().fold(f64::NEG_INFINITY, f64::max);
                let low = column(b).flatten().fold(f64::INFINITY, f64::min);
                (n_seats > 1 && high.is_finite()).then_some(high - low)
            })
            .collect(),
        fine_db: (0..fine_hz.len()).map(|i| mean_of(seats.iter().map(|s| s.fine_db[i]))).collect(),
    };
    let table = LossTable { bands, fine_hz, seats, mean };
    (session(&ids), table)
}

fn seat(s: usize, id: &str, bands: &[ThirdOctave], fine_hz: &[f64]) -> SeatLoss {
    // 125 Hz is lost in noise, 160 Hz nearly.
    const ABSENT: usize = 1;
    let value = |b: usize| (b != ABSENT).then(|| loss_db(bands[b].exact_hz(), s));
    SeatLoss {
        seat: s,
        id: id.to_owned(),
        weight: 1.0,
        loss: (0..bands.len()).map(|b| estimate(value(b)?, 0.02 + 0.004 * b as f64, 8.0)).collect(),
        in_room_db: (0..bands.len()).map(|b| Some(value(b)? + 0.1)).collect(),
        direct_db: (0..bands.len()).map(value).collect(),
        absent: (0..bands.len())
            .map(|b| (b == ABSENT).then_some(Absence::Noise { snr_db: 2.25 }))
            .collect(),
        doubtful: (0..bands.len()).map(|b| b == ABSENT + 1 && s == 0).collect(),
        spots: [2, 2],
        fine_db: fine_hz
            .iter()
            .map(|&hz| (!(112.0..141.0).contains(&hz)).then(|| loss_db(hz, s)))
            .collect(),
    }
}

fn session(ids: &[String]) -> Session {
    let mut text = String::from(
        "session = { title = \"Invented barn\", date = 2026-03-14 }\n\
         sweep = { file = \"sweep.wav\", start_hz = 20.0, stop_hz = 20000.0 }\n\
         screen = { gap_m = 0.065 }\n",
    );
    for (s, id) in ids.iter().enumerate() {
        let (row, column) = ((s / 3) as f64, (s % 3) as f64);
        text += &format!(
            "[[seat]]\nid = \"{id}\"\nposition_m = [{:?}, {:?}, 1.1]\n",
            3.0 + 1.1 * row,
            0.8 * (column - 1.0)
        );
    }
    let manifest: Manifest = toml::from_str(&text).expect("the example's manifest");
    Session {
        without_from: None,
        root: "example".into(),
        manifest,
        sweep: SweepSignal {
            samples: Vec::new(),
            rate_hz: 48_000,
            band_hz: [20.0, 20_000.0],
            rate_constant_s: None,
            active: 0..0,
        },
        takes: Vec::new(),
        calibration: None,
        notices: Vec::new(),
    }
}
