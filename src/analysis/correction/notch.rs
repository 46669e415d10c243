//! Narrow dips in the fine curve: what an equaliser must not fill.
//!
//! A dip narrower than about half an octave comes from a reflection that arrives in
//! opposite phase. It moves with the head, boosting it feeds power into a place where
//! the room or the gap takes it out again, and the boost is heard everywhere else.

use crate::units::ThirdOctave;

/// How far on either side the curve must have risen out of the dip, octaves. A dip
/// half an octave wide, and every narrower one, has come up within it.
const REACH_OCT: f64 = 0.25;

/// Least depth of a dip, dB; an echo 19 dB below the direct sound makes 1 dB.
pub(super) const LEAST_DEPTH_DB: f64 = 1.0;

/// Part of a seat's band losses that sits in narrow dips, dB (0 = none), for each of `bands`.
///
/// The fine curve of losses is walked for peaks of loss that stand at least `depth_db`
/// above the lowest loss within [`REACH_OCT`] on *both* sides; each is cut off along the
/// line between those two points, and the difference of the band losses before and
/// after is the answer. A loss that rises steadily, however steep, has no such peak.
///
/// # Shapes
/// `fine_db` follows `fine_hz`, rising; points without a value end the walk there.
pub(super) fn dip_share_db(
    fine_hz: &[f64],
    fine_db: &[Option<f64>],
    bands: &[ThirdOctave],
    depth_db: f64,
) -> Vec<f64> {
    let usable = |i: usize| fine_db.get(i).copied().flatten().filter(|v| v.is_finite());
    let clean: Vec<Option<f64>> = (0..fine_hz.len()).map(usable).collect();
    let filled = fill_dips(fine_hz, &clean, depth_db);
    bands
        .iter()
        .map(|b| {
            let loss = |curve: &[Option<f64>]| band_loss_db(*b, fine_hz, curve);
            loss(&clean).zip(loss(&filled)).map_or(0.0, |(with, without)| with - without)
        })
        .collect()
}

fn fill_dips(fine_hz: &[f64], fine_db: &[Option<f64>], depth_db: f64) -> Vec<Option<f64>> {
    let value = |i: usize| fine_db.get(i).copied().flatten();
    let mut filled = fine_db.to_vec();
    for i in 0..fine_hz.len() {
        let Some(top) = value(i) else { continue };
        // Lowest loss going left and right, no farther than the reach and the next gap.
        let lowest = |step: isize| {
            let mut best = (i, top);
            let mut j = i;
            while let Some(next) = j.checked_add_signed(step) {
                let Some(v) = value(next) else { break };
                if (fine_hz[next] / fine_hz[i]).log2().abs() > REACH_OCT {
                    break;
                }
                if v < best.1 {
                    best = (next, v);
                }
                j = next;
            }
            best
        };
        let ((left, left_db), (right, right_db)) = (lowest(-1), lowest(1));
        if top - left_db.max(right_db) < depth_db {
            continue;
        }
        for (j, cell) in filled.iter_mut().enumerate().take(right + 1).skip(left) {
            let share = (j - left) as f64 / (right - left) as f64;
            let line = left_db + share * (right_db - left_db);
            *cell = cell.map(|v| v.min(line));
        }
    }
    filled
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
