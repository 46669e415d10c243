//! Narrow dips in the fine curve: what an equaliser must not fill.
//!
//! A dip no wider than a third of an octave comes from a reflection that arrives in
//! opposite phase. It moves with the head, boosting it feeds power into a place where
//! the room or the gap takes it out again, and the boost is heard everywhere else.

use crate::transfer::median::median;
use crate::units::ThirdOctave;

/// How far on either side the depth of a dip is looked for, octaves.
const REACH_OCT: f64 = 0.5;

/// A dip is narrow if it has come up by half its depth within this on both sides,
/// octaves: no wider than a third of an octave at half depth.
const HALF_WIDTH_OCT: f64 = 1.0 / 6.0;

/// Least depth of a dip, dB; an echo 19 dB below the direct sound makes 1 dB.
pub(super) const LEAST_DEPTH_DB: f64 = 1.0;

/// Half the width over which the broad loss around a band is taken, octaves.
const TREND_OCT: f64 = 0.6;

/// By how much narrow dips raise a seat's band losses above the broad loss around them, dB
/// (0 = no dips), for each of `bands`.
///
/// The fine curve of losses is walked for peaks of loss that stand at least `depth_db`
/// above the lowest loss within [`REACH_OCT`] on *both* sides and fall by half of that
/// within [`HALF_WIDTH_OCT`]. A band that such a dip reaches into is compared with the line through the fine curve around it whose slope is
/// the median of all slopes and which leaves as many points above as below (Theil-Sen):
/// a lone dip does not move it, and of an even ripple it takes the middle, so that ripple
/// finer than a band, which a band mean levels out, is no reason to hold a boost back.
///
/// # Shapes
/// `fine_db` follows `fine_hz`, rising; points without a value end the walk there.
/// # Source
/// P. K. Sen, J. Amer. Statist. Assoc. 63 (1968) 1379-1389.
pub(super) fn dip_share_db(
    fine_hz: &[f64],
    fine_db: &[Option<f64>],
    bands: &[ThirdOctave],
    depth_db: f64,
) -> Vec<f64> {
    let usable = |i: usize| fine_db.get(i).copied().flatten().filter(|v| v.is_finite());
    let clean: Vec<Option<f64>> = (0..fine_hz.len()).map(usable).collect();
    let dips = find_dips(fine_hz, &clean, depth_db);
    bands
        .iter()
        .map(|b| {
            let reached = dips
                .iter()
                .any(|&(low, high)| fine_hz[low] < b.upper_hz() && fine_hz[high] > b.lower_hz());
            if !reached {
                return 0.0;
            }
            let trend = trend(fine_hz, &clean, b.exact_hz());
            let loss = |curve: &[Option<f64>]| band_loss_db(*b, fine_hz, curve);
            loss(&clean).zip(loss(&trend)).map_or(0.0, |(all, broad)| (all - broad).max(0.0))
        })
        .collect()
}

/// Narrow dips as ranges of indices, between their points of half depth.
fn find_dips(fine_hz: &[f64], fine_db: &[Option<f64>], depth_db: f64) -> Vec<(usize, usize)> {
    let value = |i: usize| fine_db.get(i).copied().flatten();
    let mut dips = Vec::new();
    for i in 0..fine_hz.len() {
        let Some(top) = value(i) else { continue };
        // Values going left or right, as far as there are any within reach.
        let side = |step: isize| {
            let mut j = i;
            std::iter::from_fn(move || {
                j = j.checked_add_signed(step)?;
                let octaves = (fine_hz.get(j)? / fine_hz[i]).log2().abs();
                if octaves > REACH_OCT { None } else { value(j).map(|v| (j, octaves, v)) }
            })
        };
        let lowest = |step| side(step).map(|(_, _, v)| v).fold(top, f64::min);
        let depth = top - lowest(-1).max(lowest(1));
        if depth < depth_db {
            continue;
        }
        let half = |step| {
            side(step)
                .take_while(|(_, octaves, _)| *octaves <= HALF_WIDTH_OCT)
                .find(|(_, _, v)| *v <= top - depth / 2.0)
                .map(|(j, ..)| j)
        };
        if let (Some(left), Some(right)) = (half(-1), half(1)) {
            dips.push((left, right));
        }
    }
    dips
}

/// Theil-Sen line of the fine curve within [`TREND_OCT`] of `centre_hz`, at the points that
/// hold a value there; absent elsewhere.
fn trend(fine_hz: &[f64], fine_db: &[Option<f64>], centre_hz: f64) -> Vec<Option<f64>> {
    let octaves = |hz: f64| (hz / centre_hz).log2();
    let points: Vec<(f64, f64)> = fine_hz
        .iter()
        .zip(fine_db)
        .filter(|(hz, _)| octaves(**hz).abs() <= TREND_OCT)
        .filter_map(|(hz, db)| Some((octaves(*hz), (*db)?)))
        .collect();
    let slopes = (0..points.len())
        .flat_map(|i| (0..i).map(move |j| (i, j)))
        .map(|(i, j)| (points[i].1 - points[j].1) / (points[i].0 - points[j].0));
    let slope = median(slopes.collect()).unwrap_or(0.0);
    let level = median(points.iter().map(|(x, y)| y - slope * x).collect());
    fine_hz
        .iter()
        .zip(fine_db)
        .map(|(hz, db)| {
            let x = octaves(*hz);
            if x.abs() <= TREND_OCT { db.and(level).map(|l| l + slope * x) } else { None }
        })
        .collect()
}

/// Band loss of a fine curve: power mean, each point standing for a width in proportion to
/// its frequency.
fn band_loss_db(band: ThirdOctave, fine_hz: &[f64], fine_db: &[Option<f64>]) -> Option<f64> {
    let (power, width) = fine_hz
        .iter()
        .zip(fine_db)
        .filter(|(hz, _)| **hz >= band.lower_hz() && **hz < band.upper_hz())
        .filter_map(|(hz, db)| db.map(|db| (hz * 10f64.powf(-db / 10.0), *hz)))
        .fold((0.0, 0.0), |(p, w), (a, b)| (p + a, w + b));
    (width > 0.0).then(|| -10.0 * (power / width).log10())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::made_tables::sheet_loss_db;
    use crate::units::fine_grid_hz;

    fn shares(loss_db: impl Fn(f64) -> f64) -> Vec<f64> {
        let hz = fine_grid_hz(100.0, 17_700.0);
        let fine: Vec<Option<f64>> = hz.iter().map(|&f| Some(loss_db(f))).collect();
        let bands: Vec<ThirdOctave> = (-3..=12).map(ThirdOctave::from_index).collect();
        dip_share_db(&hz, &fine, &bands, LEAST_DEPTH_DB)
    }

    /// A bell of loss: `depth` dB at `f0`, `octaves` wide at half its depth.
    fn bell(hz: f64, f0: f64, depth: f64, octaves: f64) -> f64 {
        depth * 0.5f64.powf((2.0 * (hz / f0).log2() / octaves).powi(2))
    }

    #[test]
    fn a_smooth_loss_has_no_dips_however_steep() {
        for mass in [0.05, 0.3, 1.5] {
            let got = shares(|hz| sheet_loss_db(hz, mass, 30.0));
            assert!(got.iter().all(|d| *d == 0.0), "{mass}: {got:?}");
        }
    }

    #[test]
    fn a_narrow_dip_is_found_in_its_band_alone() {
        let got = shares(|hz| sheet_loss_db(hz, 0.3, 30.0) + bell(hz, 3162.0, 8.0, 0.12));
        for (k, d) in (-3..=12).zip(&got) {
            if k == 5 {
                assert!(*d > 1.0, "3.15 kHz: {d}");
            } else {
                assert!(*d < 0.4, "{k}: {d}");
            }
        }
    }

    #[test]
    fn even_ripple_finer_than_a_band_is_no_reason_to_hold_back() {
        // A gap of 0.2 m: 858 Hz from peak to peak, 3 dB from top to bottom.
        let ripple = |hz: f64| 1.5 * (std::f64::consts::TAU * hz / 858.0).cos();
        let got = shares(|hz| sheet_loss_db(hz, 0.01, 30.0) + ripple(hz));
        for (k, d) in (-3..=12).zip(&got).filter(|(k, _)| *k >= 7) {
            assert!(*d < 0.35, "{k}: {d}");
        }
        // Lower down the ripple is too wide to be called narrow.
        assert!(got[..6].iter().all(|d| *d == 0.0), "{got:?}");
    }

    #[test]
    fn a_broad_hump_of_loss_is_no_dip() {
        let got = shares(|hz| bell(hz, 4000.0, 4.0, 1.2));
        assert!(got.iter().all(|d| *d == 0.0), "{got:?}");
    }

    #[test]
    fn depth_decides_on_both_sides_of_the_limit() {
        let shallow = shares(|hz| bell(hz, 3162.0, 0.95 * LEAST_DEPTH_DB, 0.1));
        assert!(shallow.iter().all(|d| *d == 0.0), "{shallow:?}");
        // The grid's points lie up to 1/48 octave from the centre of the bell.
        let deep = shares(|hz| bell(hz, 3162.0, 1.3 * LEAST_DEPTH_DB, 0.1));
        assert!(deep.iter().any(|d| *d > 0.0), "{deep:?}");
    }

    #[test]
    fn absent_points_make_no_dips() {
        let hz = fine_grid_hz(500.0, 17_700.0);
        let bands: Vec<ThirdOctave> = (-3..=12).map(ThirdOctave::from_index).collect();
        let none = vec![None; hz.len()];
        assert!(dip_share_db(&hz, &none, &bands, 1.0).iter().all(|d| *d == 0.0));
        let mut holes: Vec<Option<f64>> = hz.iter().map(|_| Some(2.0)).collect();
        holes[20] = Some(f64::NAN);
        holes[30] = None;
        assert!(dip_share_db(&hz, &holes, &bands, 1.0).iter().all(|d| *d == 0.0));
        assert!(dip_share_db(&hz, &[], &bands, 1.0).iter().all(|d| *d == 0.0));
    }
}
