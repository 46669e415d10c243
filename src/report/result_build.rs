//! From the losses of a session to its document.

use super::result::{
    Band, BandFigure, Curve, FORMAT, Headline, MeanResult, ScreenResult, SeatCurve, SeatResult,
    SessionResult, Spots, VERSION,
};
use crate::analysis::estimate::Estimate;
use crate::analysis::loss::{Absence, LossTable, SeatLoss};
use crate::ingest::manifest::SeatInfo;
use crate::ingest::session::Session;
use crate::judge::{Outcome, TakeState};
use crate::units::ThirdOctave;
use crate::warning::Warnings;

impl SessionResult {
    /// The document for a session whose losses are known. The parts that not
    /// every session has (`levels` to `picture`) are empty; the chain fills
    /// them in.
    ///
    /// Figures are rounded to a millionth, far below any uncertainty, so that
    /// files stay readable. A value that is not finite becomes absent.
    pub fn new(session: &Session, losses: &LossTable, warnings: impl Into<Warnings>) -> Self {
        let warnings = warnings.into();
        let info = &session.manifest.session;
        let seat = |s: &SeatLoss| seat_result(s, session.manifest.seat.get(s.seat));
        let seats: Vec<SeatResult> = losses.seats.iter().map(seat).collect();
        let band = |b: &ThirdOctave| Band { nominal_hz: b.nominal_hz(), exact_hz: b.exact_hz() };
        let bands: Vec<Band> = losses.bands.iter().map(band).collect();
        let curve = |s: &SeatLoss| SeatCurve { id: s.id.clone(), loss_db: all_finite(&s.fine_db) };
        let mean = mean_result(losses, &seats);
        Self {
            format: FORMAT,
            version: VERSION,
            title: info.title.clone(),
            date: info.date.as_ref().map(ToString::to_string),
            screen: ScreenResult {
                name: session.manifest.screen.name.clone(),
                backing: session.manifest.screen.backing,
            },
            headline: headline(&bands, &mean),
            bands,
            mean,
            curve: Curve {
                frequency_hz: losses.fine_hz.clone(),
                mean_loss_db: all_finite(&losses.mean.fine_db),
                seats: losses.seats.iter().map(curve).collect(),
            },
            seats,
            warnings: warnings.metric,
            imperial_warnings: warnings.imperial,
            ..Self::default()
        }
    }

    /// Adds what became of the takes, and marks the seats whose figures rest on doubtful ones.
    pub fn add_takes(&mut self, takes: Vec<Outcome>) {
        for seat in &mut self.seats {
            let own = takes
                .iter()
                .filter(|t| t.seat.as_ref() == Some(&seat.id) && t.state == TakeState::Doubtful);
            seat.doubtful_takes = own.map(|t| t.file.clone()).collect();
        }
        self.takes = takes;
    }
}

fn seat_result(seat: &SeatLoss, info: Option<&SeatInfo>) -> SeatResult {
    let [loss_db, u95_db, dof] = figures(&seat.loss);
    let absent = seat
        .absent
        .iter()
        .zip(&loss_db)
        .map(|(reason, value)| match (reason, value) {
            (_, Some(_)) => None,
            (Some(reason), None) => Some(absence_sentence(reason)),
            (None, None) => Some("no finite value came out".to_owned()),
        })
        .collect();
    SeatResult {
        id: seat.id.clone(),
        name: info.and_then(|i| i.name.clone()).unwrap_or_else(|| seat.id.clone()),
        weight: seat.weight,
        position_m: info.and_then(|i| i.position_m),
        spots: Spots { without: seat.spots[0], with: seat.spots[1] },
        loss_db,
        u95_db,
        dof,
        in_room_loss_db: all_finite(&seat.in_room_db),
        direct_loss_db: all_finite(&seat.direct_db),
        absent,
        doubtful: seat.doubtful.clone(),
        doubtful_takes: Vec::new(),
    }
}

fn mean_result(losses: &LossTable, seats: &[SeatResult]) -> MeanResult {
    let [loss_db, u95_db, dof] = figures(&losses.mean.loss);
    MeanResult {
        seats: (0..losses.bands.len())
            .map(|b| seats.iter().filter(|s| s.loss_db.get(b).is_some_and(Option::is_some)).count())
            .collect(),
        loss_db,
        u95_db,
        dof,
        sd_db: all_finite(&losses.mean.sd_db),
        range_db: all_finite(&losses.mean.range_db),
    }
}

/// Nominal names of the bands that the headline sums up: where the losses are
/// those of the direct sound, and every usual tweeter reaches.
const HEADLINE_HZ: [f64; 2] = [500.0, 16_000.0];

fn headline(bands: &[Band], mean: &MeanResult) -> Headline {
    let inside: Vec<usize> = (0..bands.len())
        .filter(|&b| (HEADLINE_HZ[0]..=HEADLINE_HZ[1]).contains(&bands[b].nominal_hz))
        .collect();
    let largest = |values: &[Option<f64>]| {
        let figure =
            |&b: &usize| Some(BandFigure { nominal_hz: bands[b].nominal_hz, value_db: values[b]? });
        inside.iter().filter_map(figure).max_by(|a, b| a.value_db.total_cmp(&b.value_db))
    };
    let losses: Option<Vec<f64>> = inside.iter().map(|&b| mean.loss_db[b]).collect();
    let losses = losses.filter(|l| !l.is_empty());
    let mean_loss_db = losses.and_then(|l| finite(l.iter().sum::<f64>() / l.len() as f64));
    Headline {
        band_hz: HEADLINE_HZ,
        mean_loss_db,
        largest_loss: largest(&mean.loss_db),
        largest_range: largest(&mean.range_db),
    }
}

/// Value, U and degrees of freedom as lists of the document; an estimate with any figure that is
/// not finite is absent as a whole.
fn figures(estimates: &[Option<Estimate>]) -> [Vec<Option<f64>>; 3] {
    let whole = |e: &Option<Estimate>| {
        let e = e.as_ref()?;
        Some([finite(e.value_db)?, finite(e.u95_db)?, finite(e.dof.min(MAX_DOF))?])
    };
    let whole: Vec<Option<[f64; 3]>> = estimates.iter().map(whole).collect();
    [0, 1, 2].map(|i| whole.iter().map(|e| e.map(|e| e[i])).collect())
}

/// Degrees of freedom are written no larger than this: Student's factor
/// differs from the normal one by less than 0.03 % there, and an infinite
/// number has no place in JSON.
const MAX_DOF: f64 = 1e4;

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then(|| (value * 1e6).round() / 1e6)
}

fn all_finite(values: &[Option<f64>]) -> Vec<Option<f64>> {
    values.iter().map(|v| v.and_then(finite)).collect()
}

/// The reason for an absent band, as a sentence without a full stop.
pub fn absence_sentence(absence: &Absence) -> String {
    match absence {
        Absence::OutsideSweep => "the sweep does not cover this band".to_owned(),
        Absence::Noise { snr_db } if snr_db.is_finite() => {
            format!("only {snr_db:.1} dB above the noise of the take, at least 4 dB are needed")
        }
        Absence::Noise { .. } => "lost in the noise of the take".to_owned(),
        Absence::NoTake => "no usable take in one of the conditions".to_owned(),
    }
}
