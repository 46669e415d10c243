//! How the loss depends on the seat, in a few sentences.

use super::said::Said;
use crate::analysis::seats::SeatDependence;
use crate::words::frequency_words;

/// The finding with its sentences.
pub fn said(found: SeatDependence) -> Said<SeatDependence> {
    Said::new(found, sentence)
}

/// "93 %"; a share of nearly all is not called "100 %" beside something that moves.
pub(crate) fn share_words(share: f64) -> String {
    match 100.0 * share {
        s if (99.5..100.0).contains(&s) => "More than 99 %".to_owned(),
        s => format!("{s:.0} %"),
    }
}

fn sentence(found: &SeatDependence) -> String {
    if found.n_seats == 0 {
        return "No seat holds a loss between 500 Hz and 16 kHz, so nothing can be said about \
                differences between seats."
            .into();
    }
    let (Some(moving), Some(common)) = (found.moving_rms_db, found.common_rms_db) else {
        return "One seat was measured, so nothing can be said about differences between seats: \
                record at least two more seats before you trust one setting for the room."
            .into();
    };
    let share = found.common_share.map_or(String::new(), |share| {
        format!(
            "{} of the shape of the loss ({common:.2} dB rms, by its variance) is common to all {} \
             seats. ",
            share_words(share),
            found.n_seats
        )
    });
    let n_moved = found.shape_bands().filter(|b| b.moves).count();
    let movement = match (n_moved, found.moves_most()) {
        (0, _) => "No band is shown to move from seat to seat beyond the uncertainty.".into(),
        (_, Some((most, band))) => format!(
            "Beyond the uncertainty {moving:.2} dB rms move from seat to seat, most at {} \
             ({most:.2} dB); that is shown in {n_moved} of {} bands.",
            frequency_words(band.nominal_hz),
            found.shape_bands().count()
        ),
        (_, None) => String::new(),
    };
    let outlook = if found.shape_bands().any(|b| !b.common) {
        " One equaliser setting cannot follow that: only the common part may be corrected."
    } else {
        " As far as seats differ, one equaliser setting can serve them."
    };
    format!("{share}{movement}{outlook}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::made_tables::{noise, sheet_loss_db, table};
    use crate::analysis::seats::judge_seats;

    fn cloth(hz: f64) -> f64 {
        sheet_loss_db(hz, 0.25, 40.0)
    }

    #[test]
    fn seats_that_differ_by_noise_alone_can_be_served() {
        for seed in 0..5 {
            let t = table(6, |_, hz| cloth(hz), |s, k| 0.15 * noise(seed, s, k), 0.15, 0.0);
            let got = sentence(&judge_seats(&t));
            assert!(got.contains("can serve"), "{got}");
        }
    }

    #[test]
    fn a_comb_that_moves_cannot_be_followed() {
        let swing = |s: usize, k: usize| if k >= 13 { [1.5, -1.5][(s + k) % 2] } else { 0.0 };
        let got = sentence(&judge_seats(&table(6, |_, hz| cloth(hz), swing, 0.05, 0.0)));
        assert!(got.contains("cannot follow"), "{got}");
        // The ten bands from 2 kHz to 16 kHz, of the 16 from 500 Hz.
        assert!(got.contains("that is shown in 10 of 16 bands"), "{got}");
    }

    #[test]
    fn one_seat_or_none_says_nothing_of_movement() {
        let one = judge_seats(&table(1, |_, hz| cloth(hz), |_, _| 0.0, 0.05, 0.0));
        assert!(sentence(&one).contains("One seat"));
        let mut t = table(2, |_, hz| cloth(hz), |_, _| 0.0, 0.05, 0.0);
        t.seats.iter_mut().for_each(|s| s.loss.iter_mut().for_each(|l| *l = None));
        assert!(sentence(&judge_seats(&t)).starts_with("No seat"));
    }
}
