//! Which keys each claim needs and may have, and ranges that hang on its quantity.

use super::check::{Checked, Checker, MAX_CLAIMS};
use super::{Claim, ClaimQuantity, suggest};

impl Checker<'_> {
    pub(super) fn claim(&self, claim: &Claim, at: &str) -> Checked {
        use ClaimQuantity as Q;
        let place = |key: &str| format!("{at}.{key}");
        let quantity = claim.quantity;
        let (needs, may) = keys_of(quantity);
        let word = quantity_word(quantity);
        let present = [
            ("band_hz", claim.band_hz.is_some()),
            ("limit_db", claim.limit_db.is_some()),
            ("at_hz", claim.at_hz.is_some()),
            ("reference_hz", claim.reference_hz.is_some()),
            ("points", claim.points.is_some()),
            ("tolerance_db", claim.tolerance_db.is_some()),
            ("minimum", claim.minimum.is_some()),
            ("maximum", claim.maximum.is_some()),
            ("angle_deg", claim.angle_deg.is_some()),
        ];
        for (key, there) in present {
            if !there && needs.contains(&key) {
                return Err(self.text.refuse(
                    &place("quantity"),
                    format!("a claim on {word} needs the key `{key}`"),
                    format!("add {key} = {}", example_value(key)),
                ));
            }
            if there && !needs.contains(&key) && !may.contains(&key) {
                let known: Vec<&str> = needs.iter().chain(may).copied().collect();
                return Err(self.text.refuse(
                    &place(key),
                    format!("a claim on {word} does not use the key `{key}`"),
                    suggest(key, &known),
                ));
            }
        }
        if may.contains(&"minimum") && claim.minimum.is_none() && claim.maximum.is_none() {
            return Err(self.text.refuse(
                &place("quantity"),
                format!("a claim on {word} needs `minimum` or `maximum`"),
                "add minimum = 0.9, or the figure of the maker's sheet",
            ));
        }
        if let Some(band_hz) = claim.band_hz {
            self.rising(&place("band_hz"), band_hz, false)?;
        }
        if let Some(limit_db) = claim.limit_db.filter(|limit_db| *limit_db < 0.0) {
            return Err(self.text.refuse(
                &place("limit_db"),
                format!("limit_db is {limit_db}, below 0: a loss is positive here"),
                format!("where the maker writes {limit_db} dB, write limit_db = {}", -limit_db),
            ));
        }
        let gain = if quantity == Q::Uniformity { 0.0..=1.0 } else { 0.0..=20.0 };
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
            return Err(self.text.refuse(
                &place("minimum"),
                format!("minimum is {low}, above maximum, {high}"),
                "exchange the two values",
            ));
        }
        if let Some(source) = &claim.source {
            self.free_text(&place("source"), source)?;
        }
        self.points(claim, &place("points"))
    }

    fn points(&self, claim: &Claim, place: &str) -> Checked {
        let Some(points) = &claim.points else { return Ok(()) };
        self.at_most(place, "points", points.len(), MAX_CLAIMS)?;
        if points.is_empty() {
            return Err(self.text.refuse(
                place,
                "points is empty, expected at least one point",
                "add { hz = 8000, loss_db = 2.0 }",
            ));
        }
        for (i, point) in points.iter().enumerate() {
            if i > 0 && point.hz <= points[i - 1].hz {
                return Err(self.text.refuse(
                    &format!("{place}[{i}].hz"),
                    format!(
                        "hz is {} after {}, expected rising frequencies",
                        point.hz,
                        points[i - 1].hz
                    ),
                    "sort the points",
                ));
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

fn quantity_word(quantity: ClaimQuantity) -> &'static str {
    use ClaimQuantity as Q;
    match quantity {
        Q::MaximumLoss => "maximum_loss",
        Q::AverageLoss => "average_loss",
        Q::LossAt => "loss_at",
        Q::RelativeLoss => "relative_loss",
        Q::LossCurve => "loss_curve",
        Q::SeatSpread => "seat_spread",
        Q::GainOnAxis => "gain_on_axis",
        Q::GainAtAngle => "gain_at_angle",
        Q::GainOffAxisRatio => "gain_off_axis_ratio",
        Q::Uniformity => "uniformity",
    }
}

fn example_value(key: &str) -> &'static str {
    match key {
        "band_hz" => "[500, 16000]",
        "limit_db" => "3.0",
        "at_hz" => "8000",
        "reference_hz" => "500",
        "points" => "[{ hz = 1000, loss_db = 0.5 }, { hz = 10000, loss_db = 2.0 }]",
        "tolerance_db" => "1.0",
        "angle_deg" => "45",
        _ => "...",
    }
}
