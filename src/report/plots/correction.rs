//! The equaliser setting: shape of the loss before, the filters, what is left.

use super::bands::band_axis;
use super::colors::PALETTE;
use super::figure::{Figure, Mark};
use super::series::{Series, Style};
use crate::analysis::biquad::Setting;
use crate::analysis::correction::{Correction, Section};
use crate::report::result::SessionResult;
use crate::words::signed;

/// Mean over the seats before and after, and the response of the filters;
/// `None` without a setting.
pub fn correction_figure(result: &SessionResult) -> Option<Figure> {
    let correction = result.correction.as_ref()?;
    let series = correction.series();
    let style = |color, dash, width| Style { color, dash, width };
    let bands = |values: &[Option<f64>]| {
        series.exact_hz.iter().copied().zip(values.iter().copied()).collect::<Vec<_>>()
    };
    let filter =
        series.fine_hz.iter().copied().zip(series.fine_filter_db.iter().copied().map(Some));
    let mut marks = vec![
        Series::new("Loss before", bands(&series.before_db), style(PALETTE[1], "14 6", 3.4)),
        Series::new("Left after", bands(&series.after_db), Style::main())
            .with_band(series.u95_db.clone())
            .with_dots(),
    ];
    if !correction.sections.is_empty() {
        marks.insert(0, Series::new("Filters", filter.collect(), style(PALETTE[0], "", 3.4)));
    }
    Some(Figure {
        id: "correction",
        title: finding(correction),
        subtitle: "Shape of the mean loss before and after, and gain of the filters".into(),
        description: format!("{} {}", correction.words.reason, setting_words(correction)),
        caption: format!(
            "Loss less the level that is typed in ({} dB). Loss: up = taken away; filters: up = \
             boost. Shaded: 95 % uncertainty.",
            signed(correction.trim_db, 1)
        ),
        x: band_axis(&result.bands),
        y_title: "Loss less level, and gain, dB",
        include_db: [-3.0, 3.0],
        marks: marks.into_iter().map(Mark::Curve).collect(),
        ..Figure::default()
    })
}

fn finding(correction: &Correction) -> String {
    let shape = correction.before_rms_db.zip(correction.after_rms_db);
    let shape = shape.map_or(String::new(), |(before, after)| {
        format!(": shape {before:.1} dB rms before, {after:.1} dB after")
    });
    match (correction.serves_all_seats, correction.sections.is_empty()) {
        (true, true) => format!("No filter is needed{shape}"),
        (true, false) => format!("One equaliser setting suits all seats{shape}"),
        (false, _) => format!("No single equaliser setting suits all seats{shape}"),
    }
}

fn setting_words(correction: &Correction) -> String {
    let filter = |section: &Section| {
        let Setting { frequency_hz, gain_db, q, .. } = section.setting;
        format!("{frequency_hz:.0} Hz {} dB Q {q:.2}", signed(gain_db, 1))
    };
    let filters: Vec<String> = correction.sections.iter().map(filter).collect();
    if filters.is_empty() { String::new() } else { format!("Filters: {}.", filters.join("; ")) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::correction::fit_correction;
    use crate::ingest::manifest::CorrectionLimits;
    use crate::report::example::{example_losses, example_result};
    use crate::report::words::correction::said;

    #[test]
    fn the_curves_are_those_of_the_setting() {
        let mut result = example_result(3);
        assert!(correction_figure(&result).is_none());
        let setting = fit_correction(&example_losses(3).1, &CorrectionLimits::default()).unwrap();
        result.correction = Some(said(setting.clone()));
        let figure = correction_figure(&result).unwrap();
        let curve = |name: &str| {
            figure.marks.iter().find_map(|m| match m {
                Mark::Curve(s) if s.label == name => Some(s.points.clone()),
                _ => None,
            })
        };
        let left = curve("Left after").unwrap();
        for (band, (hz, value)) in setting.bands.iter().zip(&left) {
            let shape = band.left_db;
            assert_eq!(band.exact_hz, *hz);
            assert!((shape.unwrap_or(0.0) - value.unwrap_or(0.0)).abs() < 1e-9);
        }
        assert_eq!(curve("Filters").is_some(), !setting.sections.is_empty());
        for section in &setting.sections {
            let words = format!("{:.0} Hz", section.setting.frequency_hz);
            assert!(figure.description.contains(&words), "{}", figure.description);
        }
    }
}
