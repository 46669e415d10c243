//! The mean loss held against the maker's limits.

use super::axes::Spare;
use super::figure::{Figure, Mark, YAxis};
use super::loss::{at_bands, band_axis};
use super::series::{Series, Style};
use crate::analysis::claims::{ClaimVerdict, Verdict, is_light};
use crate::ingest::manifest::ClaimQuantity;
use crate::report::result::SessionResult;
use crate::report::words::{frequency_words, signed};

/// Mean loss with uncertainty and the limits of the claims that can be drawn
/// over it: largest, average and single losses. `None` without such a claim.
pub fn claims_figure(result: &SessionResult) -> Option<Figure> {
    let limits: Vec<Mark> = result.claims.iter().filter_map(limit).collect();
    if limits.is_empty() {
        return None;
    }
    let n_claims = result.claims.iter().filter(|c| !is_light(c.quantity)).count();
    let bands = &result.bands;
    let mean = Series::new("Mean \u{b1} U", at_bands(bands, &result.mean.loss_db), Style::main())
        .with_band(result.mean.u95_db.clone())
        .with_dots();
    Some(Figure {
        id: "claims",
        title: finding(result),
        subtitle: format!("Mean loss against the maker's limits, {}", result.title),
        description: result
            .claims
            .iter()
            .filter(|c| !is_light(c.quantity))
            .map(|c| c.sentence.as_str())
            .collect::<Vec<_>>()
            .join(" "),
        caption: format!(
            "Shaded: 95 % uncertainty of the mean. A claim is shown to hold only where the loss \
             stays inside the limit by its one-sided uncertainty.{}",
            if limits.len() < n_claims {
                format!(" {} of {n_claims} claims are limits that can be drawn here.", limits.len())
            } else {
                String::new()
            }
        ),
        x: band_axis(bands),
        y: YAxis { title: "Loss, dB".into(), include_db: [-1.0, 3.0], spare: Spare::Top },
        marks: limits.into_iter().chain([Mark::Curve(mean)]).collect(),
        strip: Vec::new(),
    })
}

/// The limit of a claim as a line over its range.
fn limit(claim: &ClaimVerdict) -> Option<Mark> {
    let limit_db = claim.limit_db?;
    let words = |what: &str| {
        format!("{what} at most {} dB: {}", signed(limit_db, 1), claim.verdict.label())
    };
    let half_band = 10f64.powf(0.05);
    let (from_to, label) = match claim.quantity {
        ClaimQuantity::MaximumLoss => (claim.band_hz?, words("largest loss")),
        ClaimQuantity::AverageLoss => (claim.band_hz?, words("average loss")),
        ClaimQuantity::LossAt => {
            let hz = claim.governing_hz?;
            ([hz, hz], words(&format!("loss at {}", frequency_words(hz))))
        }
        _ => return None,
    };
    // Over the whole of the outer bands, whose middles the claim names.
    Some(Mark::Limit {
        value: limit_db,
        from_to: [from_to[0] / half_band, from_to[1] * half_band],
        label,
    })
}

fn finding(result: &SessionResult) -> String {
    let about_loss: Vec<&ClaimVerdict> =
        result.claims.iter().filter(|c| !is_light(c.quantity)).collect();
    let kept = about_loss.iter().filter(|c| c.verdict == Verdict::Pass).count();
    match (kept, about_loss.len()) {
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
    use crate::analysis::claims::{SharedLevel, judge_claims};
    use crate::ingest::manifest::Manifest;
    use crate::report::example::{example_losses, example_result};

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
        let level = SharedLevel { u_db: 0.0, controlled: true };
        let mut result = example_result(3);
        result.claims = judge_claims(&manifest.claim, &example_losses(3).1, level);
        result
    }

    #[test]
    fn limits_stand_over_their_range_with_their_verdict() {
        let figure = claims_figure(&with_claims(50.0)).unwrap();
        assert_eq!(figure.title, "All 2 claims on loss are shown to hold");
        let limits: Vec<_> = figure
            .marks
            .iter()
            .filter_map(|m| match m {
                Mark::Limit { value, from_to, label } => Some((*value, *from_to, label.as_str())),
                _ => None,
            })
            .collect();
        assert_eq!(limits.len(), 2);
        let (value, [from, to], label) = limits[0];
        assert_eq!((value, label), (50.0, "largest loss at most 50.0 dB: pass"));
        // The edges of the 500 Hz and 16 kHz bands lie a twentieth of a decade outside.
        assert!((from - 500.0 / 10f64.powf(0.05)).abs() < 1e-6, "{from}");
        assert!((to - 16_000.0 * 10f64.powf(0.05)).abs() < 1e-6, "{to}");
        assert!(limits[1].2.starts_with("loss at 8 kHz"), "{}", limits[1].2);
    }

    #[test]
    fn a_failed_claim_is_said_in_the_title() {
        let figure = claims_figure(&with_claims(0.1)).unwrap();
        assert_eq!(figure.title, "1 of 2 claims on loss is shown to hold");
        assert!(claims_figure(&example_result(3)).is_none(), "no claims, no plot");
    }
}
