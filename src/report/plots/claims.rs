//! The mean loss held against the maker's limits.

use super::bands::{HALF_BAND, band_axis, mean_curve};
use super::colors::INK;
use super::figure::{Figure, Mark};
use crate::analysis::claims::{ClaimVerdict, CurveLimits, Verdict, is_light};
use crate::ingest::manifest::ClaimQuantity;
use crate::report::result::{Band, SessionResult};
use crate::words::{decibels, frequency_words, signed};

/// Mean loss with uncertainty and the limits of the claims that can be drawn
/// over it: largest, average and single losses, and curves with their tolerance.
/// `None` without such a claim.
pub fn claims_figure(result: &SessionResult) -> Option<Figure> {
    let bands = &result.bands;
    let of_claim = |claim| limit(claim).unwrap_or_else(|| curve_limits(claim, bands));
    let limits = result.claims.iter().map(|claim| of_claim(claim));
    let limits: Vec<Vec<Mark>> = limits.filter(|marks| !marks.is_empty()).collect();
    if limits.is_empty() {
        return None;
    }
    let about_loss: Vec<_> = result.claims.iter().filter(|c| !is_light(c.quantity)).collect();
    let n_claims = about_loss.len();
    let n_kept = about_loss.iter().filter(|c| c.verdict == Verdict::Pass).count();
    let sentences: Vec<&str> = about_loss.iter().map(|c| c.words.sentence.as_str()).collect();
    let drawn = match limits.len() {
        n if n < n_claims => {
            format!(" {n} of {n_claims} claims are limits that can be drawn here.")
        }
        _ => String::new(),
    };
    Some(Figure {
        id: "claims",
        title: finding(n_kept, n_claims),
        subtitle: "Mean loss against the maker's limits".into(),
        description: sentences.join(" "),
        caption: format!(
            "Shaded: 95 % uncertainty of the mean. A claim is shown to hold only where the loss \
             stays inside the limit by the guard band (one-sided uncertainty, and what an unwatched \
             gain leaves open).{drawn}"
        ),
        x: band_axis(bands),
        y_title: "Loss, dB",
        include_db: [-1.0, 3.0],
        marks: limits.into_iter().flatten().chain([mean_curve(result, "Mean")]).collect(),
        ..Figure::default()
    })
}

/// The limit of a claim as a line over the bands that it holds for. A limit on an average holds
/// for no single band: it is a short line in the middle of them, with the average beside it.
fn limit(claim: &ClaimVerdict) -> Option<Vec<Mark>> {
    let value = claim.limit_db?;
    let (what, [low, high]) = match claim.quantity {
        ClaimQuantity::MaximumLoss => ("largest loss".into(), claim.band_hz?),
        ClaimQuantity::AverageLoss => ("mean loss".to_owned(), [middle_hz(claim.band_hz?); 2]),
        ClaimQuantity::LossAt => {
            let hz = claim.governing_hz?;
            (format!("loss at {}", frequency_words(hz)), [hz; 2])
        }
        _ => return None,
    };
    let label = format!("{what} at most {}: {}", decibels(value), claim.verdict.label());
    // Over the whole of the outer bands, whose middles the claim names.
    let from_to = [low / HALF_BAND, high * HALF_BAND];
    let limit = Mark::Limit { value, from_to, label, is_met: claim.verdict == Verdict::Pass };
    let average = claim.measured_db.filter(|_| claim.quantity == ClaimQuantity::AverageLoss);
    let average = average.map(|db| mean_dot("Mean of the bands", low, db));
    Some(std::iter::once(limit).chain(average).collect())
}

/// The middle of a range of bands on the frequency axis.
pub fn middle_hz([low_hz, high_hz]: [f64; 2]) -> f64 {
    (low_hz * high_hz).sqrt()
}

/// A mean over bands, at their middle.
pub fn mean_dot(label: &str, hz: f64, db: f64) -> Mark {
    Mark::Dots {
        name: String::new(),
        label: label.into(),
        points: vec![(hz, Some(db))],
        radius: 9.0,
        color: INK,
    }
}

/// The limits of a claimed curve above and below each of its points, over the band that is
/// judged there; the words stand once, at the highest.
fn curve_limits(claim: &ClaimVerdict, bands: &[Band]) -> Vec<Mark> {
    let drawn = claim.curve.iter().filter_map(|point| {
        let band = bands.iter().find(|band| band.nominal_hz == point.nominal_hz)?;
        Some((point, band.exact_hz))
    });
    let drawn: Vec<(&CurveLimits, f64)> = drawn.collect();
    let by_height = |a: &usize, b: &usize| drawn[*a].0.limit_db.total_cmp(&drawn[*b].0.limit_db);
    let highest = (0..drawn.len()).max_by(by_height);
    let is_met = claim.verdict == Verdict::Pass;
    let limits = drawn.iter().enumerate().flat_map(|(index, (point, exact_hz))| {
        let from_to = [exact_hz / HALF_BAND, exact_hz * HALF_BAND];
        let tolerance_db = 0.5 * (point.limit_db - point.lower_limit_db);
        let label = (highest == Some(index)).then(|| {
            format!(
                "claimed curve, {} dB on both sides: {}",
                signed(tolerance_db, 1),
                claim.verdict.label()
            )
        });
        [(point.limit_db, label.unwrap_or_default()), (point.lower_limit_db, String::new())]
            .map(|(value, label)| Mark::Limit { value, from_to, label, is_met })
    });
    limits.collect()
}

fn finding(n_kept: usize, n_claims: usize) -> String {
    match (n_kept, n_claims) {
        (1, 1) => "The claim on loss is shown to hold".into(),
        (0, 1) => "The claim on loss is not shown to hold".into(),
        (kept, n) if kept == n => format!("All {n} claims on loss are shown to hold"),
        (0, n) => format!("None of the {n} claims on loss is shown to hold"),
        (1, n) => format!("1 of {n} claims on loss is shown to hold"),
        (kept, n) => format!("{kept} of {n} claims on loss are shown to hold"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::claims::judge_claims;
    use crate::analysis::open_level::OpenLevel;
    use crate::analysis::open_level::SharedLevel;
    use crate::ingest::manifest::Manifest;
    use crate::report::example::{example_losses, example_result};
    use crate::report::words::claims::said;

    /// The example with claims judged on it: largest and average loss, and one light claim.
    fn with_claims(largest_db: f64) -> SessionResult {
        let claims = format!(
            "session = {{ title = \"x\" }}\n\
             sweep = {{ file = \"s.wav\", start_hz = 20.0, stop_hz = 2e4 }}\nscreen = {{}}\n\
             [[claim]]\nquantity = \"maximum_loss\"\nband_hz = [500, 16000]\nlimit_db = {largest_db:?}\n\
             [[claim]]\nquantity = \"loss_at\"\nat_hz = 8000\nlimit_db = 50.0\n\
             [[claim]]\nquantity = \"gain_on_axis\"\nminimum = 0.9\n"
        );
        let manifest: Manifest = toml::from_str(&claims).unwrap();
        let level = SharedLevel { u_db: 0.0, open: OpenLevel::Controlled };
        let mut result = example_result(3);
        let judged = judge_claims(&manifest.claim, &example_losses(3).1, level);
        result.claims = judged.into_iter().map(said).collect();
        result
    }

    /// Value, range and words of every limit.
    fn limits_of(figure: &Figure) -> Vec<(f64, [f64; 2], &str)> {
        let of = |mark| match mark {
            &Mark::Limit { value, from_to, ref label, .. } => {
                Some((value, from_to, label.as_str()))
            }
            _ => None,
        };
        figure.marks.iter().filter_map(of).collect()
    }

    #[test]
    fn limits_stand_over_their_range_with_their_verdict() {
        let figure = claims_figure(&with_claims(50.0)).unwrap();
        assert_eq!(figure.title, "All 2 claims on loss are shown to hold");
        let limits = limits_of(&figure);
        assert_eq!(limits.len(), 2);
        let (value, [from, to], label) = limits[0];
        assert_eq!((value, label), (50.0, "largest loss at most 50.0 dB: pass"));
        // The edges of the 500 Hz and 16 kHz bands lie a twentieth of a decade outside.
        assert!((from - 500.0 / 10f64.powf(0.05)).abs() < 1e-6, "{from}");
        assert!((to - 16_000.0 * 10f64.powf(0.05)).abs() < 1e-6, "{to}");
        assert!(limits[1].2.starts_with("loss at 8 kHz"), "{}", limits[1].2);
    }

    #[test]
    fn a_claimed_curve_has_a_limit_on_both_sides_of_every_point() {
        let mut result = example_result(3);
        let claim = "session = { title = \"x\" }\n\
             sweep = { file = \"s.wav\", start_hz = 20.0, stop_hz = 2e4 }\nscreen = {}\n\
             [[claim]]\nquantity = \"loss_curve\"\ntolerance_db = 0.5\n\
             points = [{ hz = 1000, loss_db = 0.3 }, { hz = 10000, loss_db = 1.5 },\
             { hz = 4100, loss_db = 0.8 }, { hz = 50, loss_db = 0.0 }]\n";
        let manifest: Manifest = toml::from_str(claim).unwrap();
        let level = SharedLevel { u_db: 0.0, open: OpenLevel::Controlled };
        let judged = judge_claims(&manifest.claim, &example_losses(3).1, level);
        result.claims = judged.into_iter().map(said).collect();
        let figure = claims_figure(&result).unwrap();
        let limits = limits_of(&figure);
        // 4.1 kHz is judged in the band at 1 kHz x 10^0.6; 50 Hz was not measured.
        let middles = [1000.0, 1000.0, 1e4, 1e4, 3981.0717, 3981.0717];
        let values = [0.8, -0.2, 2.0, 1.0, 1.3, 0.3];
        assert_eq!(limits.len(), values.len());
        for ((value, [from, to], label), (want, hz)) in
            limits.iter().zip(values.iter().zip(middles))
        {
            assert!((value - want).abs() < 1e-12, "{value}, want {want}");
            // The edges of a band lie a twentieth of a decade from its middle.
            assert!((from / hz - 0.891_250_9).abs() < 1e-6, "{from}");
            assert!((to / hz - 1.122_018_5).abs() < 1e-6, "{to}");
            assert_eq!(!label.is_empty(), *value == 2.0, "words once, at the highest: {label}");
        }
        // Points that were measured fail, whatever the one at 50 Hz would be.
        assert_eq!(limits[2].2, "claimed curve, 0.5 dB on both sides: fail");
        assert!(!figure.caption.contains("can be drawn"), "{}", figure.caption);
        // No group without a name for showing and hiding.
        let svg = figure.to_svg(crate::report::plots::layout::Format::File);
        assert_eq!(svg.matches("class=\"limit\"").count(), values.len());
        assert!(!svg.contains("data-series=\"\""));
    }

    #[test]
    fn a_limit_on_the_average_is_short_and_one_that_is_kept_is_no_alarm() {
        let mut result = with_claims(50.0);
        let mut claim = result.claims[0].clone();
        let average = &mut claim.found;
        average.quantity = ClaimQuantity::AverageLoss;
        average.verdict = Verdict::Fail;
        (average.limit_db, average.measured_db) = (Some(0.5), Some(0.9));
        result.claims.push(claim);
        let marks = claims_figure(&result).unwrap().marks;
        let limits: Vec<_> = marks
            .iter()
            .filter_map(|mark| match mark {
                Mark::Limit { from_to: [from, to], label, is_met, .. } => {
                    Some((to / from, label.as_str(), *is_met))
                }
                _ => None,
            })
            .collect();
        assert!(limits[0].2 && limits[1].2, "kept: {limits:?}");
        let (width, label, is_met) = limits[2];
        assert_eq!((label, is_met), ("mean loss at most 0.5 dB: fail", false));
        assert!((width - 10f64.powf(0.1)).abs() < 1e-9, "one band wide: {width}");
        // 500 Hz to 16 kHz: the middle is at sqrt(500 x 16000) = 2828 Hz.
        let dot = marks.iter().find_map(|mark| match mark {
            Mark::Dots { points, .. } => Some(points[0]),
            _ => None,
        });
        let (hz, db) = dot.unwrap();
        assert!((hz - 2828.427).abs() < 1e-3 && db == Some(0.9));
    }

    #[test]
    fn a_failed_claim_is_said_in_the_title() {
        let figure = claims_figure(&with_claims(0.1)).unwrap();
        assert_eq!(figure.title, "1 of 2 claims on loss is shown to hold");
        assert!(claims_figure(&example_result(3)).is_none(), "no claims, no plot");
    }
}
