//! What is left with the setting active, recorded, against what was predicted.

use super::bands::{SEATS_TOLD_APART, absent_areas, at_bands, band_axis, coinciding};
use super::figure::{Figure, Mark};
use super::series::{Series, Style};
use crate::analysis::correction::Predicted;
use crate::analysis::verification::SeatVerification;
use crate::report::result::SessionResult;
use crate::report::words::verification::title;
use crate::words::signed;

/// Loss left at each seat as recorded with the setting active, with its uncertainty, and the
/// predicted mean; `None` without such takes.
pub fn verification_figure(result: &SessionResult) -> Option<Figure> {
    let verification = result.verification.as_ref().filter(|v| !v.seats.is_empty())?;
    let correction = result.correction.as_ref()?;
    let bands = &result.bands;
    let values = |seat: &SeatVerification, of: fn(&Predicted) -> f64| -> Vec<Option<f64>> {
        seat.left.iter().map(|p| p.as_ref().map(of)).collect()
    };
    let seats: Vec<_> = verification.seats.iter().map(|s| values(s, |p| p.value_db)).collect();
    // Shaded as absent only where no seat has a value.
    let any: Vec<_> = (0..bands.len()).map(|b| seats.iter().find_map(|seat| seat[b])).collect();
    let mut marks = absent_areas(bands, &any);
    let curve = |(s, seat): (usize, &SeatVerification)| {
        let told_apart = seats.len() <= SEATS_TOLD_APART;
        let style = if told_apart { Style::nth(s) } else { Style::quiet() };
        let curve = Series::new(&seat.id, at_bands(bands, &seats[s]), style)
            .with_band(values(seat, |p| p.u95_db));
        Mark::Curve(if told_apart { curve } else { curve.without_label() })
    };
    match coinciding(bands, &seats) {
        Some(bars) => marks.push(bars),
        None => marks.extend(verification.seats.iter().enumerate().map(curve)),
    }
    let predicted = correction.bands.iter().map(|b| (b.exact_hz, b.left_db)).collect();
    marks.push(Mark::Curve(Series::new("Predicted", predicted, Style::main()).with_dots()));
    let off = verification.off_rms_db.map_or(String::new(), |off| {
        format!(" Recorded and predicted differ by {} dB rms.", signed(off, 2))
    });
    Some(Figure {
        id: "verification",
        title: title(verification.verdict).into(),
        subtitle: "Loss left with the setting active, as recorded, and its predicted mean".into(),
        description: verification.words.advised.sentence.clone() + &off,
        caption: "0 dB = as loud as without the screen. Up = still too quiet. Shaded: 95 % \
                  uncertainty of each seat."
            .into(),
        x: band_axis(bands),
        y_title: "Loss left, dB",
        include_db: [-2.0, 2.0],
        marks,
        ..Figure::default()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::correction::fit_correction;
    use crate::analysis::verification::verify;
    use crate::ingest::manifest::CorrectionLimits;
    use crate::report::example::{example_losses, example_result};
    use crate::report::words::{correction, verification::said};

    #[test]
    fn the_curves_are_what_was_recorded() {
        let mut result = example_result(3);
        assert!(verification_figure(&result).is_none());
        let (_, with) = example_losses(3);
        let setting = fit_correction(&with, &CorrectionLimits::default()).unwrap();
        // As recorded with the setting not active: the same losses again.
        let verification = verify(&setting, &with, &with);
        result.correction = Some(correction::said(setting.clone()));
        result.verification = Some(said(verification, &setting));
        let figure = verification_figure(&result).unwrap();
        let mut curves = figure.marks.iter().filter_map(|m| match m {
            Mark::Curve(series) => Some(series),
            _ => None,
        });
        assert_eq!(curves.clone().count(), 4);
        let first = curves.next().unwrap();
        let u95: Vec<_> = with.seats[0].loss.iter().map(|e| e.map(|e| e.u95_db)).collect();
        assert_eq!(first.half_band, u95, "the band is the uncertainty as recorded");
        let areas = figure.marks.iter().filter(|m| matches!(m, Mark::Area { .. })).count();
        let absent: Vec<bool> = (0..result.bands.len())
            .map(|b| with.seats.iter().all(|s| s.loss[b].is_none()))
            .collect();
        let runs = absent.iter().enumerate().filter(|&(b, a)| *a && (b == 0 || !absent[b - 1]));
        assert_eq!(areas, runs.count(), "absent bands are shown absent");
        for (b, (_, value)) in first.points.iter().enumerate() {
            let want = with.seats[0].loss[b].map(|e| e.value_db);
            assert_eq!(value.is_some(), want.is_some(), "band {b}");
            if let (Some(value), Some(want)) = (value, want) {
                assert!((value - want).abs() < 1e-9, "band {b}: {value}, recorded {want}");
            }
        }
        assert!(figure.title.contains("not active"), "{}", figure.title);
    }
}
