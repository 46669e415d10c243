//! The library's numbers against tables made with general numerical libraries (numpy, scipy);
//! script, versions and hash stand beside each table in `fixtures/`.

mod support;

use scrimcheck::analysis::chance::guessing;
use scrimcheck::analysis::student::{student_quantile, student_sf};
use scrimcheck::ingest::session::SweepSignal;
use scrimcheck::ingest::sweep::{SweepParams, generate};
use scrimcheck::transfer::bands::BandBins;
use scrimcheck::transfer::deconvolve::Deconvolver;
use scrimcheck::transfer::fft::RealFft;
use scrimcheck::units::ThirdOctave;
use support::assert_close;

/// Lags kept in the table.
const FIRST_LAG: i64 = -40;

fn table(name: &str) -> Vec<csv::StringRecord> {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name);
    let mut reader = csv::Reader::from_path(&path).expect("the table is there");
    reader.records().collect::<Result<_, _>>().expect("the table is whole")
}

/// `(index, value)` of one kind of row.
fn rows(table: &[csv::StringRecord], kind: &str) -> Vec<(i64, f64)> {
    table
        .iter()
        .filter(|r| &r[0] == kind)
        .map(|r| (r[1].parse().expect("index"), r[2].parse().expect("value")))
        .collect()
}

fn values(rows: &[(i64, f64)]) -> Vec<f64> {
    rows.iter().map(|(_, v)| *v).collect()
}

fn sweep() -> Vec<f64> {
    generate(&SweepParams {
        start_hz: 50.0,
        stop_hz: 20_000.0,
        duration_s: 0.25,
        fade_in_s: 0.02,
        fade_out_s: 0.005,
        level_dbfs: 20.0 * 0.5f64.log10(),
        rate_hz: 48_000,
        lead_s: 0.0,
        tail_s: 0.0,
    })
    .expect("figures in range")
}

#[test]
fn the_sweep_is_the_one_numpy_makes() {
    let (sweep, table) = (sweep(), table("deconvolution.csv"));
    assert_eq!(sweep.len(), 12_000);
    let want = rows(&table, "sweep");
    let got: Vec<f64> = want.iter().map(|(i, _)| sweep[*i as usize]).collect();
    assert_close("sweep", &got, &values(&want), 1e-11);
}

/// Recording by the textbook sum, then the library's division, against numpy's.
#[test]
fn deconvolution_is_that_of_numpy() {
    let table = table("deconvolution.csv");
    let taps = values(&rows(&table, "tap"));
    let samples = sweep();
    let mut recording = vec![0.0; 12_800];
    for (i, x) in samples.iter().enumerate() {
        for (k, tap) in taps.iter().enumerate() {
            recording[i + k] += x * tap;
        }
    }
    let active = 0..samples.len();
    let signal = SweepSignal {
        samples,
        rate_hz: 48_000,
        band_hz: [50.0, 20_000.0],
        rate_constant_s: None,
        active,
    };
    let plan = Deconvolver::new(&signal, recording.len());
    assert_eq!(plan.n_points(), 12_800, "another length would make another quotient");
    let response = plan.response(&recording, None, None);
    let want = rows(&table, "response");
    let n = response.len() as i64;
    let got: Vec<f64> = want.iter().map(|(lag, _)| response[lag.rem_euclid(n) as usize]).collect();
    assert_close("response", &got, &values(&want), 1e-10);
}

/// Third-octave means of a spectrum against the integral over exact edges.
#[test]
fn third_octave_means_are_the_integrals() {
    let table = table("deconvolution.csv");
    let response = rows(&table, "response");
    assert_eq!(response[0].0, FIRST_LAG);
    let fft = RealFft::new(8192);
    let spectrum = fft.forward_at(FIRST_LAG, &values(&response));
    let want = rows(&table, "band");
    let bands: Vec<ThirdOctave> =
        want.iter().map(|(k, _)| ThirdOctave::from_index(*k as i32)).collect();
    let edges = bands.iter().map(|b| (b.lower_hz(), b.upper_hz()));
    let bins = BandBins::new(edges, 48_000.0 / 8192.0, fft.n_bins());
    let level_db = |power: f64| 10.0 * power.log10();
    let got: Vec<f64> =
        (0..bins.len()).map(|i| level_db(bins.mean(i, |k| spectrum[k].norm_sqr()))).collect();
    let want: Vec<f64> = want.iter().map(|(_, p)| level_db(*p)).collect();
    // Cells of 5.9 Hz in bands of 46 Hz and more: a hundredth of the 0.05 dB asked of a loss.
    assert_close("band levels, dB", &got, &want, 5e-4);
}

#[test]
fn student_t_is_that_of_scipy() {
    for row in &table("student_t.csv") {
        let number = |i: usize| -> f64 { row[i].parse().expect("number") };
        let (dof, at, want) = (number(1), number(2), number(3));
        let got = match &row[0] {
            "quantile" => student_quantile(at, dof),
            "upper_tail" => student_sf(at, dof),
            other => panic!("unknown row {other}"),
        }
        .unwrap_or_else(|| panic!("no value for {row:?}"));
        // Above 1e4 degrees the normal distribution stands in: off by (x^3 + x)/(4 dof) of x.
        let tolerance = if dof > 1e4 && dof < 1e6 { 3e-4 } else { 2e-6 * want.abs().max(1.0) };
        assert!((got - want).abs() <= tolerance, "{row:?}: got {got}");
    }
}

#[test]
fn the_chance_of_guessing_is_the_binomial_tail_of_scipy() {
    let table = table("binomial.csv");
    assert!(table.len() > 60);
    for row in &table {
        let number = |i: usize| -> f64 { row[i].parse().expect("number") };
        let (rounds, right, want) = (number(0) as u64, number(1) as u64, number(2));
        let got = guessing(right, rounds);
        assert!((got - want).abs() <= 1e-11, "{row:?}: got {got}");
    }
}
