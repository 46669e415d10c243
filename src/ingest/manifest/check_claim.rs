//! Which keys each claim needs and may have, and ranges that hang on its quantity.

use super::checker::{Checked, Checker};
use super::claim::{Claim, ClaimQuantity};
use super::limits::MAX_CLAIMS;
use super::translate::suggest;
use crate::words::key_of;

impl Checker<'_> {
    pub(super) fn claim(&self, claim: &Claim, at: &str) -> Checked {
        let place = |key: &str| format!("{at}.{key}");
        self.keys_fit(claim, &place)?;
        if let Some(band_hz) = claim.band_hz {
            self.rising(&place("band_hz"), band_hz, false)?;
        }
        if let Some(limit_db) = claim.limit_db.filter(|limit_db| *limit_db < 0.0) {
            return self.refuse(
                &place("limit_db"),
                format!("limit_db is {limit_db}, below 0: a loss is positive here"),
                format!("where the maker writes {limit_db} dB, write limit_db = {}", -limit_db),
            );
        }
        let is_share = claim.quantity == ClaimQuantity::Uniformity;
        let gain = if is_share { 0.0..=1.0 } else { 0.0..=20.0 };
        for (key, value, range, unit) in [
            ("limit_db", claim.limit_db, 0.0..=60.0, "dB"),
            ("minimum", claim.minimum, gain.clone(), "(a plain number, not percent)"),
            ("maximum", claim.maximum, gain, "(a plain number, not percent)"),
        ] {
            value.map_or(Ok(()), |value| self.number(&place(key), value, range, unit))?;
        }
        if let (Some(low), Some(high)) = (claim.minimum, claim.maximum)
            && low > high
        {
            return self.refuse(
                &place("minimum"),
                format!("minimum is {low}, above maximum, {high}"),
                "exchange the two values",
            );
        }
        if let Some(source) = &claim.source {
            self.free_text(&place("source"), source)?;
        }
        self.points(claim, &place("points"))
    }

    /// Every key that the quantity needs, and none that it does not use.
    fn keys_fit(&self, claim: &Claim, place: &dyn Fn(&str) -> String) -> Checked {
        let (needs, may) = keys_of(claim.quantity);
        let word = key_of(&claim.quantity).unwrap_or_default();
        // Whether the claim has each key, and an example.
        let keys = [
            ("band_hz", claim.band_hz.is_some(), "[500, 16000]"),
            ("limit_db", claim.limit_db.is_some(), "3.0"),
            ("at_hz", claim.at_hz.is_some(), "8000"),
            ("reference_hz", claim.reference_hz.is_some(), "500"),
            (
                "points",
                claim.points.is_some(),
                "[{ hz = 1000, loss_db = 0.5 }, { hz = 10000, loss_db = 2.0 }]",
            ),
            ("tolerance_db", claim.tolerance_db.is_some(), "1.0"),
            ("minimum", claim.minimum.is_some(), "0.9"),
            ("maximum", claim.maximum.is_some(), "1.1"),
            ("angle_deg", claim.angle_deg.is_some(), "45"),
        ];
        for (key, there, example) in keys {
            let needed = needs.contains(&key);
            if needed && !there {
                return self.refuse(
                    &place("quantity"),
                    format!("a claim on {word} needs the key `{key}`"),
                    format!("add {key} = {example}"),
                );
            }
            if there && !needed && !may.contains(&key) {
                let known: Vec<&str> = needs.iter().chain(may).copied().collect();
                return self.refuse(
                    &place(key),
                    format!("a claim on {word} does not use the key `{key}`"),
                    suggest(key, &known),
                );
            }
        }
        if may.contains(&"minimum") && claim.minimum.is_none() && claim.maximum.is_none() {
            return self.refuse(
                &place("quantity"),
                format!("a claim on {word} needs `minimum` or `maximum`"),
                "add minimum = 0.9, or the figure of the maker's sheet",
            );
        }
        Ok(())
    }

    fn points(&self, claim: &Claim, place: &str) -> Checked {
        let Some(points) = &claim.points else { return Ok(()) };
        self.at_most(place, "points", points.len(), MAX_CLAIMS)?;
        if points.is_empty() {
            return self.refuse(
                place,
                "points is empty, expected at least one point",
                "add { hz = 8000, loss_db = 2.0 }",
            );
        }
        for (i, point) in points.iter().enumerate() {
            if i > 0 && point.hz <= points[i - 1].hz {
                return self.refuse(
                    &format!("{place}[{i}].hz"),
                    format!(
                        "hz is {} after {}, expected rising frequencies",
                        point.hz,
                        points[i - 1].hz
                    ),
                    "sort the points",
                );
            }
        }
        Ok(())
    }
}

/// The keys a quantity needs, and those it may have besides `scope` and `source`.
fn keys_of(quantity: ClaimQuantity) -> (&'static [&'static str], &'static [&'static str]) {
    use ClaimQuantity as Q;
    match quantity {
        Q::MaximumLoss | Q::AverageLoss => (&["band_hz", "limit_db"], &["tolerance_db"]),
        Q::LossAt => (&["at_hz", "limit_db"], &["tolerance_db"]),
        Q::RelativeLoss => (&["at_hz", "reference_hz", "limit_db"], &["tolerance_db"]),
        Q::LossCurve => (&["points", "tolerance_db"], &["band_hz"]),
        Q::SeatSpread => (&["limit_db"], &["band_hz"]),
        Q::GainOnAxis => (&[], &["minimum", "maximum"]),
        Q::GainAtAngle | Q::GainOffAxisRatio => (&["angle_deg"], &["minimum", "maximum"]),
        Q::Uniformity => (&[], &["minimum", "maximum"]),
    }
}
