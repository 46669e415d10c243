//! The played signal from its file, held against what the manifest says of it.

use super::signal::SweepSignal;
use super::trajectory::trace;
use crate::ingest::error::IngestError;
use crate::ingest::manifest::{SweepInfo, SweepKind};
use crate::ingest::notice::{Notice, Noticed};
use crate::ingest::wav::read_wav;
use realfft::RealFftPlanner;
use std::ops::Range;
use std::path::Path;

/// Shortest signal, s.
const MIN_ACTIVE_S: f64 = 0.2;
/// Longest signal, s: bounds the memory of every transform after it.
const MAX_ACTIVE_S: f64 = 60.0;
/// The signal begins and ends where it passes this share of its peak (-60 dB).
const ACTIVE_SHARE: f64 = 1e-3;
/// Steps of the band search per octave.
const STEPS_PER_OCTAVE: f64 = 12.0;
/// How far the ends of an exponential sweep may stay inside the stated ones:
/// 1/12 octave.
const SWEEP_END_OCT: f64 = 1.0 / 12.0;
/// The same for energy, which a fade takes away: 1/3 octave below, 1/6 above.
const ENERGY_END_OCT: [f64; 2] = [1.0 / 3.0, 1.0 / 6.0];
/// Largest hole inside the band, octaves.
const HOLE_OCT: f64 = 1.0 / 3.0;
/// Stated and found duration may differ by this share.
const DURATION_SHARE: f64 = 0.03;
/// Farther off the file is another one; up to here its own duration is taken, with a notice.
const OTHER_SWEEP_SHARE: f64 = 0.25;
/// A line through ln(frequency) fits a sweep to about 0.001, a linear sweep to 0.3.
const MAX_RESIDUAL: f64 = 0.05;
/// Least rise of ln(frequency) over the signal; the smallest band, one octave, has 0.69.
const MIN_RISE: f64 = 0.5;

/// Reads the file of the played signal (its first channel) and checks that it is
/// what `info` says: length, level, band, and for an exponential sweep its pace.
///
/// # Units
/// Samples have full scale = 1; times count from the start of the file.
/// # Errors
/// [`IngestError::Wav`] where the file cannot be read, [`IngestError::Unfit`] where
/// the signal is silent, shorter than 0.2 s or longer than 60 s, does not cover its
/// stated band, or is no exponential sweep of the stated duration.
pub fn load_sweep(
    path: &Path,
    info: &SweepInfo,
) -> Result<(SweepSignal, Option<Notice>), IngestError> {
    let refuse = |problem, advice| refusal(path, problem, advice);
    let wav = read_wav(path, &[1])?;
    let rate_hz = f64::from(wav.info.rate_hz);
    let samples = wav.channels.into_iter().next().unwrap_or_default();
    if info.stop_hz > rate_hz / 2.0 {
        return Err(refuse(
            format!(
                "sweep.stop_hz is {} Hz, a file at {} Hz carries at most {} Hz",
                info.stop_hz,
                wav.info.rate_hz,
                rate_hz / 2.0
            ),
            "correct sweep.stop_hz or name the right file",
        ));
    }
    let active = active_part(&samples).ok_or_else(|| {
        refuse("the played signal is silent".into(), "name the file that was really played")
    })?;
    let active_s = active.len() as f64 / rate_hz;
    if !(MIN_ACTIVE_S..=MAX_ACTIVE_S).contains(&active_s) {
        return Err(refuse(
            format!(
                "the signal in this file lasts {active_s:.2} s, expected {MIN_ACTIVE_S} to {MAX_ACTIVE_S} s"
            ),
            "name the file that was really played, or use a longer sweep",
        ));
    }
    let (rate_constant_s, doubt) = match info.kind {
        SweepKind::Other => (None, None),
        SweepKind::Exponential => {
            let (pace_s, doubt) = pace(path, info, &samples, &active, rate_hz)?;
            (Some(pace_s), doubt)
        }
    };
    check_energy(path, info, &samples[active.clone()], rate_hz)?;
    let sweep = SweepSignal {
        rate_hz: wav.info.rate_hz,
        band_hz: [info.start_hz, info.stop_hz],
        rate_constant_s,
        active,
        samples,
    };
    Ok((sweep, doubt.map(Notice::of_session)))
}

/// Rate constant of an exponential sweep, s, by its own course; where it agrees with the stated
/// duration, by that. Also a notice where it does not.
fn pace(
    path: &Path,
    info: &SweepInfo,
    samples: &[f64],
    active: &Range<usize>,
    rate_hz: f64,
) -> Result<(f64, Option<Noticed>), IngestError> {
    let refuse = |problem, advice| refusal(path, problem, advice);
    let start_at_s = active.start as f64 / rate_hz;
    let active_s = active.len() as f64 / rate_hz;
    let line = trace(&samples[active.clone()], start_at_s, rate_hz)
        .filter(|line| {
            line.median_residual <= MAX_RESIDUAL && line.rate_constant_s.is_finite()
        })
        // Noise and tones lie on a level line.
        .filter(|line| (active_s / line.rate_constant_s) >= MIN_RISE)
        .ok_or_else(|| {
            refuse(
                "the frequency of this signal does not rise as in an exponential sweep".into(),
                "write kind = \"other\" under [sweep] if another signal was played, or name the right file",
            )
        })?;
    let found_hz = [line.frequency_hz(start_at_s), line.frequency_hz(start_at_s + active_s)];
    let reaches = found_hz[0] <= info.start_hz * SWEEP_END_OCT.exp2()
        && found_hz[1] >= info.stop_hz * (-SWEEP_END_OCT).exp2();
    if !reaches {
        return Err(band_refusal(path, info, found_hz));
    }
    let octaves_e = (info.stop_hz / info.start_hz).ln();
    let found_s = line.rate_constant_s * octaves_e;
    if let Some(stated_s) = info.duration_s
        && (found_s / stated_s - 1.0).abs() > OTHER_SWEEP_SHARE
    {
        return Err(refuse(
            format!(
                "sweep.duration_s is {stated_s} s, the sweep in this file takes {found_s:.2} s from {} to {} Hz",
                info.start_hz, info.stop_hz
            ),
            "correct sweep.duration_s or name the right file",
        ));
    }
    let near = |t_s: &f64| (found_s / t_s - 1.0).abs() <= DURATION_SHARE;
    let other = info.duration_s.filter(|t_s| !near(t_s));
    let doubt = other.map(|stated_s| Noticed::OtherDuration { stated_s, found_s });
    let stated = info.duration_s.filter(near);
    Ok((stated.map_or(line.rate_constant_s, |t_s| t_s / octaves_e), doubt))
}

fn refusal(path: &Path, problem: String, advice: &'static str) -> IngestError {
    IngestError::Unfit { path: path.to_path_buf(), problem, advice }
}

fn band_refusal(path: &Path, info: &SweepInfo, found_hz: [f64; 2]) -> IngestError {
    refusal(
        path,
        format!(
            "the manifest says {} to {} Hz, the signal in this file covers {:.0} to {:.0} Hz",
            info.start_hz, info.stop_hz, found_hz[0], found_hz[1]
        ),
        "correct sweep.start_hz and sweep.stop_hz, or name the file that was really played",
    )
}

/// From the first to the last sample above 1/1000 of the peak; `None` for silence.
fn active_part(samples: &[f64]) -> Option<Range<usize>> {
    let (low, high) =
        samples.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &x| (a.min(x), b.max(x)));
    // A constant is as silent as zeros; one step of 24 bits is 1.2e-7.
    let sounds = high - low > 1e-6;
    if !sounds {
        return None;
    }
    let limit = ACTIVE_SHARE * high.abs().max(low.abs());
    let first = samples.iter().position(|x| x.abs() > limit)?;
    let last = samples.iter().rposition(|x| x.abs() > limit)?;
    Some(first..last + 1)
}

/// Steps of about a twelfth octave over the stated band.
struct Steps {
    start_hz: f64,
    n: f64,
    step_oct: f64,
}

impl Steps {
    fn new(info: &SweepInfo) -> Self {
        let octaves = (info.stop_hz / info.start_hz).log2();
        let n = (octaves * STEPS_PER_OCTAVE).ceil().max(1.0);
        Self { start_hz: info.start_hz, n, step_oct: octaves / n }
    }

    /// Lower edge of a step, Hz.
    fn edge_hz(&self, step: usize) -> f64 {
        self.start_hz * (step as f64 * self.step_oct).exp2()
    }

    /// Middle of each step, Hz, and the mean power of the bins in it.
    fn densities(&self, active: &[f64], rate_hz: f64) -> Vec<(f64, f64)> {
        let n_fft = active.len().next_power_of_two();
        let mut signal = vec![0.0; n_fft];
        signal[..active.len()].copy_from_slice(active);
        let plan = RealFftPlanner::<f64>::new().plan_fft_forward(n_fft);
        let mut bins = plan.make_output_vec();
        // Cannot fail: both lengths come from the plan.
        let _ = plan.process(&mut signal, &mut bins);
        let bin_hz = rate_hz / n_fft as f64;
        let density = |step: usize| {
            let (low_hz, high_hz) = (self.edge_hz(step), self.edge_hz(step + 1));
            let first = (low_hz / bin_hz).round() as usize;
            let last = ((high_hz / bin_hz).round() as usize).max(first + 1).min(bins.len());
            let first = first.min(last - 1);
            let power: f64 = bins[first..last].iter().map(|b| b.norm_sqr()).sum();
            ((low_hz * high_hz).sqrt(), power / (last - first) as f64)
        };
        (0..self.n as usize).map(density).collect()
    }
}

/// Which steps hold energy as the kind of signal has it.
///
/// An exponential sweep has equal energy per octave. Another signal may lie
/// anywhere between that and equal energy per hertz, and may be shaped.
fn covered(kind: SweepKind, density: &[(f64, f64)]) -> Vec<bool> {
    let (limit_db, white_too) = match kind {
        SweepKind::Exponential => (-35.0, false),
        SweepKind::Other => (-50.0, true),
    };
    let share = 10f64.powf(limit_db / 10.0);
    let pink = |&(f_hz, d): &(f64, f64)| d * f_hz;
    let white = |&(_, d): &(f64, f64)| d;
    let top_pink = density.iter().map(pink).fold(0.0, f64::max);
    let top_white = density.iter().map(white).fold(0.0, f64::max);
    density
        .iter()
        .map(|p| pink(p) >= share * top_pink || (white_too && white(p) >= share * top_white))
        .collect()
}

/// Energy in twelfth-octave steps over the stated band: present near both ends,
/// without a hole.
fn check_energy(
    path: &Path,
    info: &SweepInfo,
    active: &[f64],
    rate_hz: f64,
) -> Result<(), IngestError> {
    let steps = Steps::new(info);
    let covered = covered(info.kind, &steps.densities(active, rate_hz));
    let (Some(first), Some(last)) =
        (covered.iter().position(|&c| c), covered.iter().rposition(|&c| c))
    else {
        return Err(band_refusal(path, info, [0.0, 0.0]));
    };
    let found_hz = [steps.edge_hz(first), steps.edge_hz(last + 1)];
    let reaches = (found_hz[0] / info.start_hz).log2() <= ENERGY_END_OCT[0] + 1e-9
        && (info.stop_hz / found_hz[1]).log2() <= ENERGY_END_OCT[1] + 1e-9;
    if !reaches {
        return Err(band_refusal(path, info, found_hz));
    }
    let mut hole_from = first;
    for step in (first..=last).filter(|&step| covered[step]) {
        if (step - hole_from) as f64 * steps.step_oct > HOLE_OCT + 1e-9 {
            return Err(refusal(
                path,
                format!(
                    "the manifest says {} to {} Hz, there is nothing between {:.0} and {:.0} Hz",
                    info.start_hz,
                    info.stop_hz,
                    steps.edge_hz(hole_from),
                    steps.edge_hz(step)
                ),
                "use a signal that covers its band",
            ));
        }
        hole_from = step + 1;
    }
    Ok(())
}

#[cfg(test)]
mod tests;
