//! When the direct sound arrives, band by band.
//!
//! A recorder or player that loses sound in the middle of a sweep lets everything after the hole
//! arrive too early. Against other takes of the same loudspeaker at the same seat the difference
//! between bands tells of it; what loudspeaker and filters delay is common to all of them. A hole
//! while the sweep passes the lowest band or its upper edge may stay hidden.

use biquad::{Biquad as _, Coefficients, DirectForm2Transposed, ToHertz, Type};

/// Lower edges of the bands, Hz; the last is open above. Below them rooms ring: which of two crests of
/// a slow rise comes first is chance there, and no loss rests on the direct sound.
const EDGES_HZ: [f64; 4] = [250.0, 600.0, 1500.0, 4000.0];

/// Number of bands.
pub const N_BANDS: usize = EDGES_HZ.len();

/// So far before and after the crest of the direct sound is searched, s.
const REACH_S: f64 = 0.07;

/// A band has arrived where its envelope first reaches this part of its largest value.
const ARRIVED: f64 = 0.3;

/// The response must stand this far over what precedes everything, or nothing is told of a band:
/// noise would be taken for an arrival.
const OVER_NOISE: f64 = 6.0;

/// Arrival of the direct sound by band, s after the crest at `onset`; `None` where noise hides it.
/// Lowest band first. Good to a quarter of a period of the band's lower edge.
pub fn band_arrivals(response: &[f64], onset: usize, rate_hz: f64) -> [Option<f64>; N_BANDS] {
    let reach = (REACH_S * rate_hz) as usize;
    let n = response.len();
    // The response is periodic: what comes early may stand at its end.
    let part: Vec<f64> =
        (0..2 * reach).map(|i| response[(onset + n + i - reach.min(n)) % n]).collect();
    std::array::from_fn(|band| {
        let mut filters = two(Type::HighPass, EDGES_HZ[band], rate_hz)?.to_vec();
        if let Some(&edge_hz) = EDGES_HZ.get(band + 1) {
            filters.extend(two(Type::LowPass, edge_hz, rate_hz)?);
        }
        let mut envelope = part.clone();
        for filter in &mut filters {
            envelope.iter_mut().for_each(|x| *x = filter.run(*x));
        }
        envelope.iter_mut().for_each(|x| *x = x.abs());
        let largest = envelope.iter().copied().fold(0.0, f64::max);
        // The first part holds nothing of the direct sound unless much was lost.
        let before = envelope[..reach / 4].iter().copied().fold(0.0, f64::max);
        let first = envelope.iter().position(|x| *x >= ARRIVED * largest)?;
        (largest > OVER_NOISE * before).then(|| (first as f64 - reach as f64) / rate_hz)
    })
}

/// A filter of fourth order: two of second order with the Q of a Butterworth.
fn two(kind: Type<f64>, edge_hz: f64, rate_hz: f64) -> Option<[DirectForm2Transposed<f64>; 2]> {
    // 1 / (2 cos(pi / 8)) and 1 / (2 cos(3 pi / 8)).
    let made = [0.541_196_1, 1.306_563].map(|q| {
        let coefficients =
            Coefficients::<f64>::from_params(kind, rate_hz.hz(), edge_hz.hz(), q).ok()?;
        Some(DirectForm2Transposed::<f64>::new(coefficients))
    });
    let [a, b] = made;
    Some([a?, b?])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A click of which the low part comes `late` samples later.
    fn split(late: usize) -> Vec<f64> {
        let mut response = vec![0.0; 1 << 15];
        response[9000] = 1.0;
        // What lies below 900 Hz comes later, as after a hole while the sweep passed it.
        let n = response.len();
        let mut planner = realfft::RealFftPlanner::<f64>::new();
        let mut spectrum = planner.plan_fft_forward(n).make_output_vec();
        planner.plan_fft_forward(n).process(&mut response, &mut spectrum).unwrap();
        for (bin, x) in spectrum.iter_mut().enumerate() {
            if (bin as f64) * 48_000.0 / (n as f64) < 900.0 {
                let turn = -std::f64::consts::TAU * (bin * late) as f64 / n as f64;
                *x *= realfft::num_complex::Complex::from_polar(1.0, turn);
            }
        }
        planner.plan_fft_inverse(n).process(&mut spectrum, &mut response).unwrap();
        response.iter().map(|x| x / n as f64).collect()
    }

    #[test]
    fn a_hole_shows_as_a_step_between_bands() {
        let whole = band_arrivals(&split(0), 9000, 48_000.0).map(|a| a.unwrap());
        for late in [240usize, 960, 2400] {
            let cut = band_arrivals(&split(late), 9000, 48_000.0).map(|a| a.unwrap());
            for band in 0..N_BANDS {
                let moved_s = cut[band] - whole[band];
                // The lowest band late, those well above 900 Hz as they were.
                let expected_s = if band < 1 { late as f64 / 48_000.0 } else { 0.0 };
                if band != 1 {
                    assert!((moved_s - expected_s).abs() < 1.5e-3, "{late}, {band}: {moved_s}");
                }
            }
        }
        assert_eq!(band_arrivals(&vec![0.0; 20_000], 9000, 48_000.0), [None; N_BANDS]);
    }
}
