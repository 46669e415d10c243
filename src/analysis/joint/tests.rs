//! The fit on responses made by the closed form of a sheet in front of a plate.

use super::*;
use crate::transfer::direct::{DirectPair, HEAD_S, SeatTiming};
use crate::units::ThirdOctave;
use realfft::num_complex::Complex;
use std::f64::consts::PI;

const RATE_HZ: f64 = 48_000.0;
const GAP_S: f64 = 0.0007;

fn plan() -> SeatPlan {
    SeatPlan::new(RATE_HZ, &ThirdOctave::report_bands(20_000.0), &[])
}

/// Cloth: half of `z` is resistance and mass in series, in `rho c`.
fn sheet(hz: f64) -> Complex<f64> {
    Complex::new(1.1, 2.0 * PI * hz * 1.2e-5).inv()
}

/// `T/(1 - (1 - T) B z)`.
fn whole(hz: f64, plate: f64, round_trip_s: f64) -> Complex<f64> {
    let t = sheet(hz);
    let z = Complex::from_polar(1.0, -2.0 * PI * hz * round_trip_s);
    t / (Complex::new(1.0, 0.0) - (Complex::new(1.0, 0.0) - t) * plate * z)
}

/// A loudspeaker from 80 Hz to 20 kHz, 2.6 ms before and 4.5 ms after its crest.
fn seat(plan: &SeatPlan, index: usize, of: impl Fn(f64) -> Complex<f64>) -> SeatTransmission {
    let n = plan.fft.n_points();
    let df_hz = RATE_HZ / n as f64;
    let head = (HEAD_S * RATE_HZ) as i64;
    let response = |of: &dyn Fn(f64) -> Complex<f64>| -> Vec<f64> {
        let spectrum = (0..plan.fft.n_bins())
            .map(|k| {
                let hz = k as f64 * df_hz;
                let high_pass = Complex::new(0.0, hz / 80.0) / Complex::new(1.0, hz / 80.0);
                let top = 1.0 / (1.0 + (hz / 20_000.0).powi(8));
                high_pass * high_pass * top * of(hz)
            })
            .collect();
        let taps = plan.fft.inverse(spectrum);
        (0..(0.0071 * RATE_HZ) as i64)
            .map(|i| taps[(i - head).rem_euclid(n as i64) as usize])
            .collect()
    };
    let pair =
        DirectPair { without: response(&|_| Complex::new(1.0, 0.0)), with: response(&|hz| of(hz)) };
    SeatTransmission {
        seat: index,
        takes: [1, 1],
        spots: [1, 1],
        timing: SeatTiming { end_s: 0.0012, round_trip_s: Some(GAP_S) },
        pairs: vec![pair],
        room_without: Vec::new(),
        room_with: Vec::new(),
        ratio: Vec::new(),
        snr_db: Vec::new(),
        noise_ratio: Vec::new(),
    }
}

fn error_db(plan: &SeatPlan, found: &Spectrum, of: impl Fn(f64) -> Complex<f64>) -> f64 {
    let df_hz = RATE_HZ / plan.fft.n_points() as f64;
    (7..23)
        .map(|band| {
            let mean = |f: &dyn Fn(usize) -> f64| plan.bins.mean(band, f);
            let got = mean(&|k| found[k].norm_sqr());
            let want = mean(&|k| of(k as f64 * df_hz).norm_sqr());
            (10.0 * (got / want).log10()).abs()
        })
        .fold(0.0, f64::max)
}

#[test]
fn sheet_and_plate_are_found_with_the_gap_a_little_wrong() {
    let plan = plan();
    for plate in [0.0, 0.4, 0.8] {
        // The plate stands 2 % farther than stated.
        let of = |hz: f64| whole(hz, plate, 1.02 * GAP_S);
        let seats: Vec<SeatTransmission> = (0..3).map(|i| seat(&plan, i, of)).collect();
        let joint = fit(&plan, &seats);
        let front = joint.front.as_ref().unwrap();
        // What comes back from the front, times what the sheet sends there.
        let df_hz = plan.step_hz();
        let ratio = joint.seats[0].ratio(&plan.fft, df_hz, Some(front)).unwrap();
        let k = (3000.0 / df_hz).round() as usize;
        let got = ratio[k].norm();
        let want = (Complex::new(1.0, 0.0) - sheet(k as f64 * df_hz)).norm() * plate;
        assert!((got - want).abs() < 0.03, "plate {plate}: echo {got} for {want}");
        let found = joint.seats[0].transmission(&plan, Some(&ratio), &[0]);
        let worst = error_db(&plan, &found, of);
        assert!(worst < 0.05, "plate {plate}: {worst} dB");
    }
}

#[test]
fn without_a_gap_the_sheet_alone_is_found() {
    let plan = plan();
    let mut seats = vec![seat(&plan, 0, sheet)];
    seats[0].timing.round_trip_s = None;
    let joint = fit(&plan, &seats);
    assert!(joint.front.is_none());
    let found = joint.seats[0].transmission(&plan, None, &[0]);
    assert!(error_db(&plan, &found, sheet) < 0.02);
}

/// A shelf in the signal is no sheet: with the sheet's own echoes given, sheet and shelf come
/// out together.
#[test]
fn an_equaliser_in_the_signal_is_not_taken_for_cloth() {
    let plan = plan();
    let shelf = |hz: f64| Complex::new(1.0, 2.0 * hz / 3000.0) / Complex::new(1.0, hz / 3000.0);
    let plain = |hz: f64| whole(hz, 0.7, GAP_S);
    let lifted = |hz: f64| plain(hz) * shelf(hz);
    let known_seats = [seat(&plan, 4, plain)];
    let known = fit(&plan, &known_seats);
    let seats = [seat(&plan, 4, lifted)];
    let joint = fit_with_known_echoes(&plan, &seats, &known, &known_seats);
    let ratio = joint.seats[0].ratio(&plan.fft, plan.step_hz(), joint.front.as_ref());
    let found = joint.seats[0].transmission(&plan, ratio.as_ref(), &[0]);
    let worst = error_db(&plan, &found, lifted);
    assert!(worst < 0.06, "{worst} dB");
}

/// At 48 kHz the parts of a front lie whole samples apart; moved, they must be what the
/// transform of each gives.
#[test]
fn a_part_of_the_front_is_the_main_one_moved() {
    let plan = plan();
    let seats = [seat(&plan, 0, |hz| whole(hz, 0.6, GAP_S))];
    let fitter = Fitter::new(&plan, &seats);
    let pair = &fitter.seats[0].pairs[0];
    let df_hz = RATE_HZ / fitter.fft.n_points() as f64;
    let derivative: Spectrum =
        (0..fitter.fft.n_bins()).map(|k| whole(k as f64 * df_hz, 0.4, GAP_S)).collect();
    for (t, got) in fitter.all_terms(&pair.source, pair, &derivative).iter().enumerate() {
        let want = fitter.term(&pair.source, pair, &derivative, t);
        let peak = want.iter().fold(0f64, |a, x| a.max(x.abs()));
        let off = got.iter().zip(&want).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(got.len() == want.len() && off < 1e-12 * peak, "term {t}: {off} of {peak}");
    }
}

#[test]
fn silence_gets_no_value() {
    let plan = plan();
    let mut silent = seat(&plan, 0, sheet);
    silent.pairs[0].with.fill(0.0);
    silent.pairs[0].without.fill(0.0);
    let seats = [silent];
    let joint = fit(&plan, &seats);
    let ratio = joint.seats[0].ratio(&plan.fft, plan.step_hz(), joint.front.as_ref());
    let found = joint.seats[0].transmission(&plan, ratio.as_ref(), &[0]);
    assert!(found.iter().all(|x| x.re.is_nan()));
}
