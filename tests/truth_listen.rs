//! Sounds of simulated sessions, held against the loss table and against the truth.

use realfft::num_complex::Complex;
use scrimcheck::chain::{Analyzed, analyze_keeping};
use scrimcheck::ingest::session::Session;
use scrimcheck::listen::Fir;
use scrimcheck::listen::job::offer;
use scrimcheck::listen::levels::level;
use scrimcheck::listen::passage::{Passage, band_losses};
use scrimcheck::listen::sounds::{ALL, Made, Sound};
use scrimcheck::listen::versions::{Part, make_versions};
use scrimcheck::simulate::random::Kind;
use scrimcheck::simulate::sheet::HungSheet;
use scrimcheck::simulate::{Scenario, demo_scenario, simulate, write};
use scrimcheck::transfer::fft::RealFft;
use scrimcheck::units::ThirdOctave;
use std::sync::OnceLock;

struct Job {
    name: String,
    jobs: Vec<(Session, Analyzed)>,
    _folder: tempfile::TempDir,
}

fn job(scenario: &Scenario) -> Job {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("job");
    write(&simulate(scenario), &root).unwrap();
    let session = Session::open(&root).unwrap();
    let analyzed = analyze_keeping(&session, &|| ()).unwrap();
    let name = session.manifest.session.title.clone();
    Job { name, jobs: vec![(session, analyzed)], _folder: folder }
}

/// Made once for all tests.
fn demo() -> &'static Job {
    static JOB: OnceLock<Job> = OnceLock::new();
    JOB.get_or_init(|| job(&demo_scenario()))
}

/// Third-octave level, dB: energy of the lines in the band.
fn band_level_db(samples: &[f64], rate_hz: u32, band: ThirdOctave) -> f64 {
    let spectrum = RealFft::new(samples.len()).forward(samples);
    let bin = |hz: f64| hz * samples.len() as f64 / f64::from(rate_hz);
    let bins = bin(band.lower_hz()).ceil() as usize..=bin(band.upper_hz()) as usize;
    10.0 * spectrum[bins].iter().map(|x| x.norm_sqr()).sum::<f64>().log10()
}

/// Every seat of a job: pink noise loses what the table says; the largest error, dB.
fn hold_to_the_table(job: &Job) -> f64 {
    let pink = Made::Pink.sound();
    let mut worst = 0.0f64;
    for seat in &job.jobs[0].1.result.seats {
        let offer = offer(&job.jobs, Some(&seat.id), &[], None).unwrap();
        let heard = make_versions(&pink, &offer.parts).unwrap();
        let [without, screen] = [0, 1].map(|i| &heard.versions[i].channels[0]);
        let losses = band_losses(&job.jobs[0].1.result, &seat.id);
        assert!(losses.len() >= 10, "{}: {} bands", seat.id, losses.len());
        for (band, loss_db) in losses {
            let level = |x| band_level_db(x, pink.rate_hz, band);
            let got = level(without) - level(screen);
            let hz = band.nominal_hz();
            assert!((got - loss_db).abs() <= 0.05, "{} {hz} Hz: {got} for {loss_db}", seat.id);
            worst = worst.max((got - loss_db).abs());
        }
        // Putting together moves little: what is heard is the measured curve.
        let passage = offer.parts[1].passage.as_ref().unwrap();
        let [above, below] = [true, false].map(|direct| passage.most_moved_db(direct));
        println!("{} {}: moved by {above:.3} dB, {below:.3} dB below 450 Hz", job.name, seat.id);
        assert!(above < 0.25 && below < 1.0, "{}: {above} {below}", seat.id);
    }
    println!("{}: third octaves off by at most {worst:.4} dB", job.name);
    worst
}

#[test]
fn pink_noise_loses_in_every_band_what_the_table_says() {
    assert!(hold_to_the_table(demo()) > 0.0);
    for (kind, seed) in
        [("perforated", 3), ("heavy_large_gap", 4), ("noisy", 5), ("heavy_one_spot", 6)]
    {
        let kind = Kind::from_name(kind).unwrap_or_else(|| panic!("no kind {kind}"));
        hold_to_the_table(&job(&Scenario::random(kind, seed)));
    }
}

/// A sine of 997 Hz, level -20 dB, through screen and setting: no line beside it but far down.
#[test]
fn no_harmonics_are_added() {
    let job = demo();
    let rate_hz = 48_000;
    let n = rate_hz as usize * 4;
    let tone = |i: usize| 0.1 * (std::f64::consts::TAU * 997.0 * i as f64 / 48_000.0).sin();
    let sound = Sound {
        key: "sine".into(),
        title: "sine".into(),
        rate_hz,
        channels: vec![(0..n).map(tone).collect()],
        goes_round: true,
    };
    let offer = offer(&job.jobs, None, &[], None).unwrap();
    assert_eq!(offer.parts.len(), 3, "without, screen, setting");
    for version in make_versions(&sound, &offer.parts).unwrap().versions {
        let bytes = version.wav(rate_hz, false, 1).unwrap();
        let mut reader = hound::WavReader::new(bytes.as_slice()).unwrap();
        let samples: Vec<f64> =
            reader.samples::<i32>().map(|s| f64::from(s.unwrap()) / 8_388_608.0).collect();
        let spectrum = RealFft::new(n).forward(&samples);
        let power = |hz: usize| spectrum[hz * 4].norm_sqr();
        for harmonic in 2..=20 {
            let db = 10.0 * (power(997 * harmonic) / power(997)).log10();
            assert!(db < -100.0, "{}: harmonic {harmonic} at {db} dB", version.key);
        }
    }
}

#[test]
fn nothing_is_louder_than_the_source_and_matched_is_matched() {
    let job = demo();
    let offer = offer(&job.jobs, None, &[], None).unwrap();
    for made in ALL {
        let sound = made.sound();
        let source = level("source", &sound.channels, sound.rate_hz).unwrap();
        let heard = make_versions(&sound, &offer.parts).unwrap();
        let mut matched = Vec::new();
        for version in &heard.versions {
            for channels in [version.channels.clone(), version.matched()] {
                let got = level(&version.key, &channels, sound.rate_hz).unwrap();
                assert!(got.loudness_lufs <= source.loudness_lufs + 0.01, "{}", version.key);
                assert!(got.true_peak_dbtp <= source.true_peak_dbtp + 0.01, "{}", version.key);
                matched.push(got.loudness_lufs);
            }
        }
        let of_matched: Vec<f64> = matched.into_iter().skip(1).step_by(2).collect();
        for got in &of_matched {
            assert!((got - of_matched[0]).abs() < 0.05, "{}: {of_matched:?}", sound.key);
        }
    }
}

/// Without a screen nothing is filtered: the sound itself, turned down with the others at most.
#[test]
fn the_version_without_a_screen_is_the_sound() {
    let sound = Made::Clicks.sound();
    let heard = make_versions(&sound, &[Part::without()]).unwrap();
    assert_eq!(heard.versions[0].channels, sound.channels);
    assert_eq!(heard.headroom_gain_db, 0.0);
}

/// Complex error of a filter against what truly passes, over its size, rms from 700 Hz to 14 kHz,
/// once the delay that fits best is taken out.
fn error_against_truth(fir: &Fir, scenario: &Scenario, seat: usize) -> f64 {
    let n = 65_536;
    let step_hz = 48_000.0 / n as f64;
    let spectrum = RealFft::new(n).forward_at(-(fir.lead as i64), &fir.taps);
    let bins: Vec<usize> = ((700.0 / step_hz) as usize..(14_000.0 / step_hz) as usize).collect();
    let grid: Vec<f64> = bins.iter().map(|k| *k as f64 * step_hz).collect();
    let c_m_s = scenario.speed_of_sound_m_s()[1];
    let hung = HungSheet::new(&scenario.sheet, scenario.front, scenario.gap_m, c_m_s, &grid);
    let cosine = scenario.seat_cosine(seat);
    let truth: Vec<Complex<f64>> = (0..grid.len())
        .map(|k| hung.total_with(k, cosine, scenario.scattered(seat, grid[k])))
        .collect();
    let power: f64 = truth.iter().map(Complex::norm_sqr).sum();
    let with_delay = |delay_s: f64| {
        let apart = bins.iter().zip(&truth).zip(&grid).map(|((k, t), hz)| {
            let turn = Complex::cis(std::f64::consts::TAU * hz * delay_s);
            (spectrum[*k] * turn - t).norm_sqr()
        });
        (apart.sum::<f64>() / power).sqrt()
    };
    // Within 30 microseconds, in steps of 0.1.
    (-300..=300).map(|i| with_delay(f64::from(i) * 1e-7)).fold(f64::INFINITY, f64::min)
}

/// The filter is the transmission itself, phase included, not a curve of levels alone.
#[test]
fn size_and_phase_are_those_of_what_truly_passes() {
    let job = demo();
    let scenario = demo_scenario();
    for (i, seat) in job.jobs[0].1.result.seats.iter().enumerate() {
        let offer = offer(&job.jobs, Some(&seat.id), &[], None).unwrap();
        let passage = offer.parts[1].passage.as_ref().unwrap();
        let own = Fir::new(passage, 48_000, &|_| 0.0);
        let least = Passage::from_gain(&|hz| passage.gain_db(hz));
        let least = Fir::new(&least, 48_000, &|_| 0.0);
        let [own, least] = [&own, &least].map(|f| error_against_truth(f, &scenario, i));
        println!("{}: error {own:.4} with the fit's phase, {least:.4} with minimum phase", seat.id);
        assert!(own < 0.02 && own < least, "{}: {own} {least}", seat.id);
    }
}
